"""The store's figures: run `python tests/bench/store.py`; prints one line for each.

hot     bytes a reading, and rows a second in batches of 1,000 with full sync, at 10 and at
        10,000 probes
"""

import argparse
import random
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

from roewatch.room.reading import Flag, Flagged
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

START = 1_767_225_600_000  # 2026-01-01T00:00:00Z
BATCH = 1_000


def batches(probes: int, readings: int) -> list[list[Flagged]]:
    """Readings of thermometers with steps of 1/16 °C, all probes in turn every 5 s."""
    seeded = random.Random(7)
    rounds = readings // probes
    said = [
        Flagged(f"p{p}", START + r * 5000 + seeded.randrange(200), raw, raw, Flag.GOOD)
        for r in range(rounds)
        for p in range(probes)
        for raw in (24 + seeded.randrange(-8, 8) / 16,)
    ]
    return [said[i : i + BATCH] for i in range(0, len(said), BATCH)]


def ours(folder: Path, probes: int, readings: int) -> tuple[float, float, float]:
    """(rows/s, CPU µs a row, bytes a reading) of the store."""
    path = folder / f"ours-{probes}.db"
    prepared = batches(probes, readings)
    store = Store.open(path)
    wall, cpu = time.perf_counter(), time.process_time()
    kept = sum(store.keep(Kept(readings=batch)) for batch in prepared)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    store.close()
    return kept / wall, cpu / kept * 1e6, path.stat().st_size / kept


def plain(folder: Path, probes: int, readings: int) -> tuple[float, float, float]:
    """The same for a plain table with an index, as most would write it, also with full sync."""
    path = folder / f"plain-{probes}.db"
    prepared = batches(probes, readings)
    db = sqlite3.connect(path, isolation_level=None)
    db.executescript(
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
        "CREATE TABLE readings (probe TEXT, at_ms INTEGER, value REAL, flag INTEGER);"
        "CREATE UNIQUE INDEX by_probe ON readings (probe, at_ms);"
    )
    wall, cpu = time.perf_counter(), time.process_time()
    kept = 0
    for batch in prepared:
        db.execute("BEGIN IMMEDIATE")
        db.executemany(
            "INSERT OR IGNORE INTO readings VALUES (?, ?, ?, ?)",
            [(r.probe, r.at_ms, r.raw, int(r.flag)) for r in batch],
        )
        db.execute("COMMIT")
        kept += len(batch)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    db.close()
    return kept / wall, cpu / kept * 1e6, path.stat().st_size / kept


def hot(folder: Path, readings: int) -> None:
    for probes in (10, 80, 10_000):
        a, b = ours(folder, probes, readings), plain(folder, probes, readings)
        print(
            f"hot, {probes} probes: {a[0]:,.0f} rows/s, {a[1]:.1f} µs CPU, {a[2]:.1f} B a reading;"
            f" plain indexed table {b[0]:,.0f} rows/s, {b[1]:.1f} µs, {b[2]:.1f} B"
        )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=400_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        hot(Path(folder), asked.readings)
    return 0


if __name__ == "__main__":
    sys.exit(main())
