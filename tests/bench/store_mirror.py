"""The mirror after an outage: `python tests/bench/store_mirror.py`, on a real VictoriaMetrics.

Fourteen days of readings every 5 s are kept and packed while the target is away; then it comes
back, is killed once in the middle, and is caught up with. Prints the rate, and whether every
probe's every day holds as many readings there as here.
"""

import argparse
import sys
import tempfile
import time
from itertools import islice
from pathlib import Path

from tests.bench.store import thermometer
from tests.contracts.victoria import VictoriaServer

from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Probe
from roewatch.storage.influx import Victoria
from roewatch.storage.kept import Kept
from roewatch.storage.mirror import Mirror, compare
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.target import TargetDownError

FIRST = 19_723  # 2024-01-01: a server may refuse the future
DAYS = 14


def kept(path: Path, probes: list[Probe]) -> int:
    """Fourteen days of each probe, packed."""
    store = Store.open(path)
    total = 0
    for seed, probe in enumerate(probes):
        water = thermometer(seed)
        for _ in range(DAYS):
            day = [
                Flagged(probe.id, FIRST * DAY_MS + at, raw, raw, Flag.GOOD)
                for at, raw in islice(water, DAY_MS // 5000)
            ]
            total += store.keep(Kept(readings=day))
    while store.pack_some(2**42, budget=50):
        pass
    store.close()
    return total


def caught_up(mirror: Mirror, server: VictoriaServer, half: int) -> tuple[int, float]:
    """(lines sent, seconds); the server is killed after `half` of them."""
    sent, begun, killed = 0, time.perf_counter(), False
    while True:
        try:
            shipped = mirror.step()
        except TargetDownError as error:
            print(f"down: {error}")
            server.start()
            continue
        if not shipped:
            return sent, time.perf_counter() - begun
        sent += shipped
        if sent >= half and not killed:
            killed = True
            server.kill()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--probes", type=int, default=10)
    asked = parser.parse_args()
    probes = [
        Probe(id=f"p{i}", tank=f"A{i}", quantity=Quantity.TEMPERATURE, every_ms=5000)
        for i in range(asked.probes)
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.db"
        total = kept(path, probes)
        server = VictoriaServer(Path(folder) / "victoria")
        server.start()
        store, records = Store.open(path), Records(path)
        target = Victoria(url=server.url, org="", bucket="", token="", room="boathouse")
        mirror = Mirror(records, target, probes, store.mirrored)
        sent, took = caught_up(mirror, server, total // 2)
        server.flush()
        differences = compare(records, target, probes, range(FIRST - 1, FIRST + DAYS + 1))
        print(
            f"{total:,} readings of {DAYS} days: {sent:,} lines in {took:.0f} s,"
            f" {sent / took:,.0f} a second; {asked.probes * DAYS} daily counts,"
            f" {len(differences)} differ"
        )
        target.close()
        records.close()
        store.close()
        server.kill()
    return 1 if differences else 0


if __name__ == "__main__":
    sys.exit(main())
