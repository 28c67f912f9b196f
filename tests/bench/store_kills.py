"""Kills: `python tests/bench/store_kills.py [--kills 40]`, the store and its mirror under fire.

A worker keeps readings of ten probes, packs, and mirrors to a real VictoriaMetrics, each as the
daemon does. It is killed with SIGKILL at random moments, four times in five; otherwise the server
is. Each time the worker starts again a little before the last batch it had said was kept, as a
broker that delivers again what was not acknowledged. At the end: every reading that was said is
there, none twice, and the mirror holds as many on every day.
"""

import argparse
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from queue import Queue

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

START = 19_723 * DAY_MS  # 2024-01-01: a server may refuse the future
EVERY_MS = 5000
ROUND = 20  # moments of all probes in one batch
PROBES = [
    Probe(id=f"p{i}", tank=f"A{i}", quantity=Quantity.TEMPERATURE, every_ms=EVERY_MS)
    for i in range(10)
]
MARGIN_S = 20  # longer than the server needs to put on disk what it said yes to


def batch(first: int) -> list[Flagged]:
    """The readings of moments `first` to `first + ROUND`."""
    return [
        Flagged(probe.id, START + n * EVERY_MS, 24 + n * 7919 % 97 / 16, 0.0, Flag.GOOD)
        for n in range(first, first + ROUND)
        for probe in PROBES
    ]


def work(path: Path, url: str, first: int) -> None:
    """Keep, pack and mirror until killed; says the moment after each batch that was kept."""
    store, errands = Store.open(path), Queue[tuple[dict[str, int], threading.Event]]()

    def save(positions: object) -> None:
        done = threading.Event()
        errands.put((dict(positions), done))  # type: ignore[call-overload]
        done.wait()

    target = Victoria(url=url, org="", bucket="", token="", room="boathouse")
    mirror = Mirror(Records(path), target, PROBES, save, margin_s=MARGIN_S, batch=2000)
    never = threading.Event()
    threading.Thread(
        target=mirror.run, args=(never,), kwargs={"every_s": 0.05, "first_wait_s": 0.1}, daemon=True
    ).start()
    while True:
        store.keep(Kept(readings=batch(first)))
        first += ROUND
        print(first, flush=True)
        store.pack_some(START + first * EVERY_MS)
        while not errands.empty():
            positions, done = errands.get()
            store.mirrored(positions)
            done.set()
        never.wait(0.002)


def killed(path: Path, server: VictoriaServer, kills: int) -> int:
    """Run and kill workers and the server; returns the moment up to which all was said."""
    dice, told = random.Random(11), 0
    for _ in range(kills):
        worker = subprocess.Popen(
            [sys.executable, __file__, "--work", str(path), server.url, str(max(0, told - 40))],
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        assert worker.stdout is not None
        for _ in range(dice.randrange(5, 200)):
            told = max(told, int(worker.stdout.readline()))
        if dice.random() < 0.2:
            server.kill()
            for _ in range(20):
                told = max(told, int(worker.stdout.readline()))
            server.start()
        worker.kill()
        said = worker.stdout.read().split()
        told = max([told, *map(int, said[:-1])])  # the last line may be half a number
        worker.wait(10)
    return told


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=40)
    parser.add_argument("--work", nargs=3, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.work:
        work(Path(asked.work[0]), asked.work[1], int(asked.work[2]))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.db"
        server = VictoriaServer(Path(folder) / "victoria")
        server.start()
        begun = time.perf_counter()
        told = killed(path, server, asked.kills)
        store, records = Store.open(path), Records(path)
        moments = [r.at_ms for r in store.kept_after({}) if r.probe == "p0"]
        whole = moments == [START + n * EVERY_MS for n in range(len(moments))]
        lost = max(0, told - len(moments))
        target = Victoria(url=server.url, org="", bucket="", token="", room="boathouse")
        mirror = Mirror(records, target, PROBES, store.mirrored, margin_s=MARGIN_S)
        caught_up = False
        while not caught_up:
            try:
                caught_up = mirror.step() == 0
            except TargetDownError as error:
                print(error)
                server.start()
        server.flush()
        last = (START + told * EVERY_MS) // DAY_MS
        days = range(START // DAY_MS, last + 2)
        differences = compare(records, target, PROBES, days)
        counts = records.counts()
        print(
            f"{asked.kills} kills in {time.perf_counter() - begun:.0f} s: {counts['readings']:,}"
            f" readings kept, {counts['packed']} days packed; said and lost {lost}; each moment"
            f" once: {whole}; days that differ in the mirror: {len(differences)}"
        )
        target.close()
        records.close()
        store.close()
        server.kill()
    return 0 if whole and not lost and not differences else 1


if __name__ == "__main__":
    sys.exit(main())
