"""The store's figures: `python tests/bench/store.py`, one line for each; some minutes.

    hot      rows a second, CPU and bytes a reading, in batches of 1,000 with full sync, at 10, 80
             and 10,000 probes; beside a plain indexed table doing the same
    packed   bytes a reading once packed, roll-ups and the whole file told apart
    read     a week and a year of one probe to 1,000 points (250 pixel columns), median of 15, with
             80 probes in the file and a writer at work; beside the plain table and, where it is
             installed, DuckDB on Parquet
    start    opening the file, and the memory it takes

Thermometers with steps of 1/16 °C and 0.03 °C of noise on a heater's cycle, every 5 s; moments
jitter by 20 ms (one standard deviation). `--days 30` gives the figure for a month.
"""

import argparse
import importlib
import importlib.util
import random
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import roewatch
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Probe
from roewatch.storage.kept import Kept
from roewatch.storage.parquet import export_parquet
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.thinning import Columns, thinned

START = 20_454 * DAY_MS  # 2026-01-01
BATCH = 1_000
PROBES = 80
YEAR = 365

HERE = {"PYTHONPATH": str(Path(roewatch.__file__).parents[1])}

Sample = tuple[str, int, float]


def thermometer(seed: int) -> Iterator[tuple[int, float]]:
    """Moments (ms since the start) and °C of one probe, without end."""
    dice = random.Random(seed)
    water, heating, n = 25.0 + dice.random() / 2, False, 0
    while True:
        water += 0.0025 if heating else -0.0018
        heating = water < 25.0 or (heating and water < 25.5)
        yield (
            max(0, n * 5000 + round(dice.gauss(100, 20))),
            round((water + dice.gauss(0, 0.03)) * 16) / 16,
        )
        n += 1


def room(probes: int, days: float) -> Iterator[list[Sample]]:
    """All probes in turn, in batches, each its own water; the same every time it is called."""
    waters = [(f"p{i}", thermometer(i)) for i in range(probes)]
    batch: list[Sample] = []
    for _ in range(round(days * DAY_MS / 5000)):
        for name, water in waters:
            at_ms, raw = next(water)
            batch.append((name, START + at_ms, raw))
        if len(batch) >= BATCH:
            yield batch
            batch = []
    yield batch


class Plain:
    """A table with an index, as most would write it; also with full sync."""

    def __init__(self, path: Path) -> None:
        self.db = sqlite3.connect(path, isolation_level=None)
        self.db.executescript(
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
            "CREATE TABLE IF NOT EXISTS readings (probe TEXT, at_ms INT, value REAL, flag INT);"
            "CREATE UNIQUE INDEX IF NOT EXISTS by_probe ON readings (probe, at_ms);"
        )

    def keep(self, batch: list[Flagged]) -> None:
        self.db.execute("BEGIN IMMEDIATE")
        self.db.executemany(
            "INSERT OR IGNORE INTO readings VALUES (?, ?, ?, ?)",
            [(r.probe, r.at_ms, r.raw, int(r.flag)) for r in batch],
        )
        self.db.execute("COMMIT")

    def keep_all(self, batches: list[list[Flagged]]) -> None:
        for batch in batches:
            self.keep(batch)

    def series(self, probe: str, from_ms: int, to_ms: int, columns: int) -> Columns:
        rows = self.db.execute(
            "SELECT at_ms, value, flag FROM readings WHERE probe = ? AND at_ms >= ? AND at_ms < ?"
            " ORDER BY at_ms",
            (probe, from_ms, to_ms),
        ).fetchall()
        edges = [from_ms + (to_ms - from_ms) * i // columns for i in range(1, columns)]
        return thinned(Columns(*zip(*rows, strict=True)), edges)


def flagged(batch: list[Sample]) -> list[Flagged]:
    return [Flagged(name, at_ms, raw, raw, Flag.GOOD) for name, at_ms, raw in batch]


def clocked(work: Callable[[], object]) -> tuple[float, float]:
    """(wall, CPU) seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def hot(folder: Path) -> None:
    for probes in (10, PROBES, 10_000):
        batches = [flagged(batch) for batch in room(probes, 400_000 / probes * 5000 / DAY_MS)]
        n = sum(map(len, batches))
        ours, plain = folder / f"ours-{probes}.db", folder / f"plain-{probes}.db"
        store, table = Store.open(ours), Plain(plain)
        a = clocked(lambda: [store.keep(Kept(readings=b)) for b in batches])  # noqa: B023
        b = clocked(lambda: table.keep_all(batches))  # noqa: B023
        store.close()
        table.db.close()
        print(
            f"hot, {probes} probes: {n / a[0]:,.0f} rows/s, {a[1] / n * 1e6:.1f} µs CPU,"
            f" {ours.stat().st_size / n:.1f} B a reading; plain table {n / b[0]:,.0f} rows/s,"
            f" {b[1] / n * 1e6:.1f} µs, {plain.stat().st_size / n:.1f} B"
        )


def fill(store: Store, plain: Plain | None, days: int) -> None:
    """The last `days` of all probes and a year of the first."""
    water = thermometer(0)
    for day in range(YEAR):
        names = [f"p{i}" for i in range(PROBES)] if day >= YEAR - days else ["p0"]
        rows = [next(water) for _ in range(DAY_MS // 5000)]
        for name in names:
            shift = int(name[1:]) * 37  # each probe its own second of the grid, same kind of water
            batch = [Flagged(name, START + at + shift, v, v, Flag.GOOD) for at, v in rows]
            store.keep(Kept(readings=batch))
            if plain is not None:
                plain.keep(batch)
        while store.pack_some(START + (day + 1) * DAY_MS, budget=50):
            pass


def packed(path: Path) -> None:
    records = Records(path)
    readings, size = records.packed()
    counts = records.counts()
    records.close()
    db = sqlite3.connect(path)
    sums = db.execute(
        "SELECT sum(length(body)), sum(length(minutes)), sum(length(tens) + length(hours))"
        " FROM packed"
    )
    body, minutes, hours = (part / readings for part in sums.fetchone())
    (pages,) = db.execute("SELECT count(*) * 4096.0 FROM dbstat WHERE name = 'packed'").fetchone()
    db.close()
    print(
        f"packed, {readings:,} readings: {size / readings:.2f} B a reading (readings {body:.2f},"
        f" minutes {minutes:.2f}, tens and hours {hours:.2f}); in pages {pages / readings:.2f};"
        f" {counts['hot']:,} still hot; file {path.stat().st_size / 1e6:.0f} MB"
    )


def median_ms(work: Callable[[], Any], times: int = 15) -> tuple[float, float]:
    """(wall, CPU) milliseconds; where others share the machine, only CPU says much."""
    took = [clocked(work) for _ in range(times)]
    wall, cpu = (statistics.median(each) * 1000 for each in zip(*took, strict=True))
    return wall, cpu


def shown(ms: tuple[float, float]) -> str:
    return f"{ms[0]:.1f} ms (CPU {ms[1]:.1f})"


def against(ms: tuple[float, float], ours: tuple[float, float]) -> str:
    return f"{shown(ms)}, {ms[1] / ours[1]:.1f} times our CPU"


_WRITER = """
import sys, threading
from pathlib import Path
from roewatch.room.reading import Flag, Flagged
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
store, at, stop = Store.open(Path(sys.argv[1])), int(sys.argv[2]), threading.Event()
print("ready", flush=True)
while not stop.wait(0.05):
    store.keep(Kept(readings=[Flagged(f"p{i}", at, 25.0, 25.0, Flag.GOOD) for i in range(80)]))
    at += 5000
"""


def read(folder: Path, path: Path, plain: Path | None) -> None:
    end = START + YEAR * DAY_MS + 3 * HOUR_MS
    probe = Probe(id="p0", tank="A1", quantity=Quantity.TEMPERATURE, every_ms=5000)
    writer = subprocess.Popen(
        [sys.executable, "-c", _WRITER, str(path), str(START + YEAR * DAY_MS)],
        stdout=subprocess.PIPE,
        env=HERE,
    )
    assert writer.stdout is not None
    writer.stdout.readline()
    try:
        records = Records(path)
        ours = {
            days: median_ms(partial(records.series, probe, end - days * DAY_MS, end, 250))
            for days in (1, 7, 30, YEAR)
        }
        whole = median_ms(lambda: records.series(probe, end - 7 * DAY_MS, end), 5)
        records.close()
    finally:
        writer.kill()
        writer.wait()
    for days, ms in ours.items():
        print(f"read {days} d to 1,000 points, a writer at work: {shown(ms)}")
    print(f"read 7 d, every reading: {shown(whole)}")
    if plain is not None:
        table = Plain(plain)
        for days, times in ((7, 9), (YEAR, 3)):
            took = median_ms(partial(table.series, "p0", end - days * DAY_MS, end, 250), times)
            print(f"  plain indexed table, {days} d: {against(took, ours[days])}")
    duck(folder, path, probe, end, ours)


def duck(
    folder: Path, path: Path, probe: Probe, end: int, ours: dict[int, tuple[float, float]]
) -> None:
    if not (importlib.util.find_spec("duckdb") and importlib.util.find_spec("pyarrow")):
        print("  DuckDB on Parquet: duckdb or pyarrow is not installed here, so not measured")
        return
    duckdb: Any = importlib.import_module("duckdb")  # optional, never a dependency

    file = folder / "year.parquet"
    records = Records(path)
    export_parquet(records, [probe], file, from_ms=0, to_ms=end)
    records.close()
    db = duckdb.connect()
    for days in (7, YEAR):
        width = days * DAY_MS // 250

        def query(days: int = days, width: int = width) -> None:
            db.execute(
                "SELECT epoch_ms(time) // ?, first(value ORDER BY time), min(value), max(value),"
                " last(value ORDER BY time) FROM read_parquet(?) WHERE probe = 'p0'"
                " AND epoch_ms(time) >= ? AND epoch_ms(time) < ? GROUP BY 1 ORDER BY 1",
                [width, str(file), end - days * DAY_MS, end],
            ).fetchall()

        print(f"  DuckDB on Parquet, {days} d: {against(median_ms(query, 5), ours[days])}")


def start(path: Path) -> None:
    # VmHWM: what getrusage says is handed down by whoever started the process
    script = (
        "import sys,time;t=time.perf_counter();from pathlib import Path;"
        "from roewatch.storage.store import Store;i=time.perf_counter();"
        "s=Store.open(Path(sys.argv[1]));o=time.perf_counter();"
        "held=[l.split()[1] for l in open('/proc/self/status') if l.startswith('VmHWM')][0];"
        "print(f'start: load {i-t:.2f} s, open {o-i:.2f} s, checked whole {s.fully_checked},"
        " {int(held)/1024:.0f} MB resident')"
    )
    subprocess.run([sys.executable, "-c", script, str(path)], env=HERE, check=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=8, help="of all 80 probes (default 8)")
    parser.add_argument("--without-plain", action="store_true", help="leave out the plain table")
    parser.add_argument("--folder", help="where the files go, and stay (default: removed)")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(asked.folder or temporary)
        folder.mkdir(parents=True, exist_ok=True)
        if not (folder / "room.db").exists():
            hot(Path(temporary))
        path, plain = folder / "room.db", folder / "plain.db"
        table = None if asked.without_plain else Plain(plain)
        if not path.exists():
            store = Store.open(path)
            wall, _ = clocked(lambda: fill(store, table, asked.days))
            store.close()
            print(f"filled in {wall:.0f} s")
        if table is not None:
            table.db.close()
        packed(path)
        start(path)
        read(folder, path, None if asked.without_plain else plain)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"this benchmark held {peak:.0f} MB at most")
    return 0


if __name__ == "__main__":
    sys.exit(main())
