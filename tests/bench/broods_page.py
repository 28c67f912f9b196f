"""How long the pages of broods take with 500 of them behind: `python -m tests.bench.broods_page`.

    python -m tests.bench.broods_page [--broods 500] [--open 12]

A real store holds the broods' records and every tank's thermometer around each spawning, packed as
the daemon packs it; the pages are asked for through the app, one after another, the first time
(nothing remembered) and again. Prints milliseconds and bytes, and what the comparison says with all
of them and with three.
"""

import argparse
import re
import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import words
from tests.views.room_of_broods import SPECIES, record, sheets, tried
from tests.views.room_of_glass import NOW, PAST, GlassDeeds, GlassLive, GlassRecords, boathouse

from roewatch.breeding.brood import broods_of
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.service.broods import Broods
from roewatch.service.live import RoomRecords
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
from roewatch.views.app import app_of

PAGES = ("/", "/broods", "/broods/compare", "/broods/compare?by=temperature", "/broods/2024-1")
_EVERY_MS = 5 * MINUTE_MS


def under_way(count: int) -> list[BroodRecord]:
    """So many broods whose eggs are a day old."""
    fields = {"species": SPECIES, "parents": "pair 9", "water": "rain", "light": "07:00-21:00"}
    found = []
    for n in range(count):
        id_, tank = f"2026-{n + 1}", f"{'AB'[n % 2]}{n // 2 % 6 + 1}"
        found.append(record(id_, BroodAct.STARTED, NOW - 9 * DAY_MS, tank=tank, fields=fields))
        found.append(record(id_, BroodAct.SPAWNED, NOW - 26 * HOUR_MS, count="about 80"))
    return found


def fill(path: Path, kept: Sequence[BroodRecord]) -> int:
    """Keep the records, and the water of every brood's tank for four days; returns readings."""
    room = boathouse()
    store, count = Store.open(path), 0
    probes = {p.tank: p for p in room.probes if p.quantity is Quantity.TEMPERATURE}
    spans = {
        (brood.tank, brood.spawned_ms // DAY_MS)
        for brood in broods_of(kept)
        if brood.spawned_ms is not None
    }
    days = sorted({(day + n, tank) for tank, day in spans for n in range(5)})
    for day, tank in days:
        moments = range(day * DAY_MS, min((day + 1) * DAY_MS, NOW), _EVERY_MS)
        value = 24.0 + day % 4
        batch = [Flagged(probes[tank].id, at, value, value, Flag.GOOD) for at in moments]
        count += store.keep(Kept(readings=batch))
        if day % 8 == 0:
            while store.pack_some((day - 2) * DAY_MS, budget=400):
                pass
    while store.pack_some(NOW - 2 * DAY_MS, budget=400):
        pass
    store.keep(Kept(broods=list(kept)))
    store.close()
    return count


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--broods", type=int, default=500)
    parser.add_argument("--open", type=int, default=12)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.db"
        began_s = time.perf_counter()
        readings = fill(path, [*tried(given.broods), *under_way(given.open)])
        print(
            f"{given.broods} ended and {given.open} open broods, {readings} readings, "
            f"{path.stat().st_size / 1e6:.1f} MB, filled in {time.perf_counter() - began_s:.0f} s"
        )
        asked(path)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.db"
        fill(path, tried(3))
        with client_of(path) as client:
            print(f"\nwith three broods: {verdict(client.get('/broods/compare').text)}")


def client_of(path: Path) -> TestClient:
    """The pages of that store."""
    room = boathouse()
    records, live = RoomRecords(path, room), GlassLive(room)
    book = Broods(records, lambda: room, sheets, write=lambda _: None, remember=lambda _, __: None)
    deeds = GlassDeeds(GlassRecords(room))
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, broods=book)
    return TestClient(app, base_url=WebPlace().base, client=("127.0.0.1", 1))


def asked(path: Path) -> None:
    with client_of(path) as client:
        print("\npage, ms                              first   processor   again   processor   kB")
        for address in PAGES:
            took = [timed(client, address) for _ in range(6)]
            size = len(client.get(address).content) / 1000
            wall, cpu = (statistics.median(one[i] for one in took[1:]) for i in (0, 1))
            first = f"{took[0][0]:9.0f}{took[0][1]:16.0f}"
            print(f"{address:34}{first}{wall:10.0f}{cpu:8.0f}{size:10.1f}")
        print(f"\nwater: {verdict(client.get('/broods/compare').text)}")
        print(f"temperature: {verdict(client.get('/broods/compare?by=temperature').text)}")


def timed(client: TestClient, address: str) -> tuple[float, float]:
    """Milliseconds on the clock, and of the processor: others may keep the machine busy."""
    began_s, used_s = time.perf_counter(), time.process_time()
    assert client.get(address).status_code == 200
    return 1000 * (time.perf_counter() - began_s), 1000 * (time.process_time() - used_s)


def verdict(page: str) -> str:
    found = re.search(r'<p class="verdict".*?</p>', page, re.DOTALL)
    return words(found[0]) if found else "no verdict"


if __name__ == "__main__":
    main()
