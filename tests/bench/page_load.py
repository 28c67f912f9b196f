"""The pages' figures: first chart on a slow phone, the room of 60 and of 600 tanks.

    .venv/bin/python -m tests.bench.page_load

A real store with 60,000 readings of one probe in the week; headless Chromium, 390 x 844, its CPU
slowed four times. Prints medians of so many rounds; nothing passes or fails here.
"""

import gzip
import os
import statistics
import tempfile
import time
import urllib.request
from pathlib import Path

from starlette.testclient import TestClient
from starlette.types import ASGIApp
from tests.conftest import found
from tests.journeys.browser import browser
from tests.journeys.served import WebPlace, served
from tests.journeys.test_pages_seen import wait_for
from tests.views.room_of_glass import (
    NOW,
    PAST,
    GlassDeeds,
    boathouse,
    hall,
    usual,
    well,
)

from roewatch.room.moment import DAY_MS
from roewatch.room.reading import Flag, Flagged
from roewatch.service.live import RoomRecords
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
from roewatch.views.app import app_of

READINGS = 60_000
ROUNDS = 7
WEEK = 7 * DAY_MS


def stored(folder: Path) -> RoomRecords:
    """A1's week in a real store: READINGS of pH, and a reading a minute of temperature."""
    room = boathouse()
    path = folder / "roewatch.sqlite"
    store = Store.open(path)
    for probe, count in (("a1-ph", READINGS), ("a1-temp", 7 * 24 * 60)):
        step = WEEK // count
        for begin in range(0, count, 10_000):
            rows = [
                Flagged(probe, NOW - WEEK + n * step, v, v, Flag.GOOD)
                for n in range(begin, min(begin + 10_000, count))
                for v in (5.6 + (n * 7919 % 100) / 500,)
            ]
            store.keep(Kept(readings=rows))
    while store.pack_some(NOW, budget=64):  # as the daemon has packed them by then
        pass
    store.close()
    return RoomRecords(path, room)


def cpu_of(app: ASGIApp, address: str) -> float:
    """Milliseconds of a core that the server works for one page; what else runs does not count."""
    client = TestClient(app, base_url="http://127.0.0.1:8420", client=("127.0.0.1", 50000))
    client.get(address)
    took = []
    for _ in range(ROUNDS):
        began = time.process_time()
        client.get(address)
        took.append(1000 * (time.process_time() - began))
    return statistics.median(took)


def first_chart(folder: Path) -> None:
    records = stored(folder)
    _, live, _ = usual(boathouse())
    app = app_of(records, live, GlassDeeds(usual()[0]), settings=WebPlace(), past=PAST)
    print(f"tank page: {cpu_of(app, '/tank/A1?span=7d'):.0f} ms of one core in the server")
    program = found("chromium")
    assert program is not None
    with served(app) as base, browser(program) as tab:
        tab.size(390, 844)
        tab.wish(prefers_color_scheme="dark")
        tab.open(f"{base}/tank/A1")
        painted, drawn, server = [], [], []
        tab.ask("Emulation.setCPUThrottlingRate", rate=4)
        for _ in range(ROUNDS):
            tab.open(f"{base}/tank/A1?span=7d")
            wait_for(tab, "performance.getEntriesByName('first-contentful-paint').length")
            painted.append(
                tab.run("performance.getEntriesByName('first-contentful-paint')[0].startTime")
            )
            drawn.append(
                tab.run("(t => t.domContentLoadedEventEnd - t.navigationStart)(performance.timing)")
            )
            server.append(
                tab.run(
                    "(e => e.responseStart - e.requestStart)"
                    "(performance.getEntriesByType('navigation')[0])"
                )
            )
        tab.ask("Emulation.setCPUThrottlingRate", rate=1)
        tab.open("about:blank")
    print(
        f"first chart, {READINGS} readings in the week, CPU slowed four times: first picture "
        f"{statistics.median(painted):.0f} ms (worst {max(painted):.0f}), page ready "
        f"{statistics.median(drawn):.0f} ms, of which the server {statistics.median(server):.0f} ms"
    )
    records.close()


def big_room(tanks: int) -> None:
    records, live, deeds = well(hall(tanks))
    latest = records.latest()
    records.latest = lambda: latest  # type: ignore[method-assign]  # as a store answers at once
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST)
    with served(app) as base:
        print(f"room of {tanks} tanks: {cpu_of(app, '/'):.0f} ms of one core in the server")
        took = []
        for _ in range(ROUNDS):
            request = urllib.request.Request(base, headers={"accept-encoding": "gzip"})
            began = time.perf_counter()
            with urllib.request.urlopen(request) as answer:
                body = answer.read()
            took.append(1000 * (time.perf_counter() - began))
        whole = len(gzip.decompress(body))
        print(
            f"room of {tanks} tanks: {whole / 1000:.0f} kB, {len(body) / 1000:.1f} kB on the wire, "
            f"{statistics.median(took):.0f} ms until the last byte (worst {max(took):.0f})"
        )
        program = found("chromium")
        assert program is not None
        with browser(program) as tab:
            tab.size(390, 844)
            tab.ask("Emulation.setCPUThrottlingRate", rate=4)
            tab.open(base)
            wait_for(tab, "performance.getEntriesByName('first-contentful-paint').length")
            paint = tab.run("performance.getEntriesByName('first-contentful-paint')[0].startTime")
            tab.ask("Emulation.setCPUThrottlingRate", rate=1)
            tab.open("about:blank")
        print(f"  first picture on the slowed phone after {paint:.0f} ms")


def main() -> None:
    print(f"load of this machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        first_chart(Path(folder))
    for tanks in (60, 600):
        big_room(tanks)


if __name__ == "__main__":
    main()
