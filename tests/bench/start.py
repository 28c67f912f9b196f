"""The daemon's start with a year behind it: `python tests/bench/start.py`; some minutes.

    python tests/bench/start.py --probes 100 --every 60 --starts 5

Fills a store with a year of every probe, packed as the daemon packs it; then starts `roewatch
watch` on it again and again, with readings waiting at a real Mosquitto. Prints the seconds from
the start of the process to its first judged reading (a reading is kept in one transaction with
what judging made of it, so that is when the file holds it), to the last one waiting, and the
memory the process then takes. The file is in the page cache: a cold disk takes longer.
Target: 2 s, 120 MB at 100 probes. Exit 1 when the medians are beyond it.
"""

import argparse
import contextlib
import os
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon"), str(ROOT / "simulators")]

from tests.bench import ending  # noqa: E402
from tests.bench.flow import Load, room_file, stored, topic  # noqa: E402
from tests.journeys.broker import Broker, Publisher  # noqa: E402
from tests.journeys.house import message, now_ms, wait_until  # noqa: E402

from roewatch.judging.judge import Judge  # noqa: E402
from roewatch.room.moment import DAY_MS, SECOND_MS  # noqa: E402
from roewatch.room.reading import Flag, Flagged  # noqa: E402
from roewatch.room.tank import Probe  # noqa: E402
from roewatch.service.settings.load import Setup, load_setup  # noqa: E402
from roewatch.storage.kept import Kept  # noqa: E402
from roewatch.storage.reader import Records  # noqa: E402
from roewatch.storage.store import Store  # noqa: E402

MOST_S, MOST_MB = 2.0, 120.0


def celsius(probe: int, number: int) -> float:
    """A thermostat's quiet swing, in steps of a sixteenth."""
    return 25 + 0.0625 * ((number // 12 + probe) % 8)


def fill(path: Path, probes: Sequence[Probe], days: int, every_ms: int, end_ms: int) -> int:
    """`days` of every probe up to `end_ms`; returns how many readings that is."""
    store, kept = Store.open(path), 0
    for day in range(days, 0, -1):
        moments = range(end_ms - day * DAY_MS, end_ms - (day - 1) * DAY_MS, every_ms)
        for number, probe in enumerate(probes):
            batch = [
                Flagged(probe.id, at_ms, value, value, Flag.GOOD)
                for n, at_ms in enumerate(moments)
                for value in (celsius(number, n),)
            ]
            kept += store.keep(Kept(readings=batch))
        while store.pack_some(end_ms - (day - 1) * DAY_MS, budget=100):
            pass
        if day % 30 == 0:
            print(f"{days - day} of {days} days filled", flush=True)
    store.close()
    return kept


@contextmanager
def daemon(room: Path, log: Path) -> Iterator[int]:
    """`roewatch watch`, ended as the system does."""
    env = os.environ | {"PYTHONPATH": f"{ROOT / 'daemon'}:{ROOT}"}
    with log.open("ab") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "roewatch.service.cli", "watch", "--room", str(room)],
            stdout=out, stderr=out, env=env,
        )  # fmt: skip
    try:
        yield process.pid
    finally:
        process.terminate()
        process.wait(60)


def resident_mb(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    assert found is not None
    return int(found[1]) / 1024


def say(broker: Broker, probes: int, at_ms: int) -> None:
    """One reading of every probe."""
    with Publisher(broker, "bench") as publisher:
        publisher.publish_all([(topic(n), message(at_ms, celsius(n, 0))) for n in range(probes)])


def watched(room: Path, broker: Broker, setup: Setup) -> None:
    """A first life, so that the broker has a session and the store what judging knows.

    Without it the start would judge three days: nothing would say that they were judged.
    """
    log, probes = room.with_suffix(".log"), len(setup.room.probes)
    with daemon(room, log):
        wait_until(
            lambda: "broker_connected" in log.read_text(), "the daemon is connected", within_s=90
        )
        say(broker, probes, now_ms())
        wait_until(lambda: stored(setup.storage.path) == probes, "all is kept", within_s=90)
    if len(judged_to(setup)) < probes:
        raise RuntimeError("a clean end kept less than what judging knew")


def judged_to(setup: Setup) -> dict[str, int]:
    """By probe, the moment to which its readings were judged, as the store has it."""
    store = sqlite3.connect(f"file:{setup.storage.path}?mode=ro", uri=True)
    with contextlib.closing(store):
        states = dict(store.execute("SELECT key, body FROM states"))
    judge = Judge(setup.room, setup.limits)
    judge.restore(states)
    return judge.positions()


def started(
    room: Path, broker: Broker, records: Records, probes: Sequence[Probe]
) -> tuple[float, float, float]:
    """(seconds to the first judged reading, to the last that waited, MB resident)."""
    at_ms = now_ms()
    say(broker, len(probes), at_ms)

    def judged() -> int:
        return sum(r.at_ms >= at_ms for r in records.latest().values())

    begun_s = time.monotonic()
    with daemon(room, room.with_suffix(".log")) as pid:
        wait_until(lambda: judged() > 0, "a reading is judged", within_s=60)
        first_s = time.monotonic() - begun_s
        wait_until(lambda: judged() == len(probes), "every one is", within_s=60)
        last_s = time.monotonic() - begun_s
        wait_until(
            lambda: "watching room=" in room.with_suffix(".log").read_text(), "the daemon watches"
        )
        return first_s, last_s, resident_mb(pid)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--probes", type=int, default=100)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--every", type=int, default=60, help="seconds between two readings")
    parser.add_argument("--starts", type=int, default=5)
    asked = parser.parse_args()
    ending.in_order()
    with tempfile.TemporaryDirectory() as name, Broker(Path(name) / "broker") as broker:
        room = room_file(Path(name), broker, Load(asked.probes, 1))
        setup = load_setup(room, {})
        probes, path = setup.room.probes, setup.storage.path
        watched(room, broker, setup)
        kept = fill(path, probes, asked.days, asked.every * SECOND_MS, now_ms())
        print(f"{kept:,} readings in {path.stat().st_size / 1e6:.0f} MB", flush=True)
        records = Records(path)
        runs = [started(room, broker, records, probes) for _ in range(asked.starts)]
        records.close()
    first_s, last_s, mb = (statistics.median(column) for column in zip(*runs, strict=True))
    print(
        f"start with {asked.days} days of {asked.probes} probes ({kept:,} readings): first judged"
        f" reading after {first_s:.2f} s, all {asked.probes} that waited after {last_s:.2f} s,"
        f" {mb:.0f} MB resident (medians of {asked.starts}; worst first"
        f" {max(run[0] for run in runs):.2f} s)"
    )
    return 0 if first_s <= MOST_S and mb <= MOST_MB else 1


if __name__ == "__main__":
    sys.exit(main())
