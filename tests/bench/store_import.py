"""Bringing in old logs: `python tests/bench/store_import.py [--rows 10000000]`.

Writes a CSV of that many rows (ten probes), brings it in, and prints the rate and how much memory
was held after a tenth and after all of it.
"""

import argparse
import resource
import sys
import tempfile
import time
from pathlib import Path

from roewatch.room.moment import DAY_MS, iso
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Probe
from roewatch.storage.archive import Refusal, import_csv
from roewatch.storage.store import Store

PROBES = [
    Probe(id=f"p{i}", tank=f"A{i}", quantity=Quantity.TEMPERATURE, every_ms=5000) for i in range(10)
]
START = 19_723 * DAY_MS


def written(path: Path, rows: int) -> None:
    """Time by time, all probes in turn, as a logger writes it; every 100,000th row is bad."""
    with path.open("w") as file:
        file.write("time,tank,quantity,value\n")
        for n in range(rows):
            value = "?" if n % 100_000 == 7 else f"{24 + n * 7919 % 97 / 16}"
            moment = iso(START + n // 10 * 5000)
            file.write(f"{moment},A{n % 10},temperature,{value}\n")


def held_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    rows = parser.parse_args().rows
    held: dict[int, float] = {}

    def progress(done: int) -> None:
        if not held and done >= rows // 10:
            held[done] = held_mb()

    refused: list[Refusal] = []
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log.csv"
        written(log, rows)
        store = Store.open(Path(folder) / "room.db")
        begun = time.perf_counter()
        with log.open() as file:
            found = import_csv(store, PROBES, file, refused=refused.append, progress=progress)
        took = time.perf_counter() - begun
        store.close()
    print(f"{found.rows:,} rows in {took:.0f} s, {found.rows / took:,.0f} a second")
    print(f"{found.new:,} new, {found.refused} refused, each with its line and reason")
    early = ", ".join(f"{mb:.0f} MB" for mb in held.values())
    print(f"held {early} after a tenth, {held_mb():.0f} MB after all of it")
    return 0


if __name__ == "__main__":
    sys.exit(main())
