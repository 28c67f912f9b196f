"""A room at work: the whole daemon with real store and control, and nobody at the broker's end."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from roewatch.outbox.channel import Channel
from roewatch.outbox.pigeonhole import Pigeonhole
from roewatch.room.moment import MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.service.daemon import Daemon, fold_of
from roewatch.service.demo import without_notices
from roewatch.service.port import free_port
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.settings.setup import WaySettings
from roewatch.service.watch import Watch
from roewatch.storage.store import Store

ROOM = """
[room]
name = "The Boathouse"
id = "boathouse"
timezone = "Europe/Tallinn"
[broker]
port = 1
[[contact]]
name = "Keeper"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/keeper"
[[contact]]
name = "Stand-in"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/stand-in"
[[tank]]
id = "A3"
litres = 20
heater_watts = 50
species = "boraras-brigittae"
stage = "spawning"
[[probe]]
tank = "A3"
quantity = "temperature"
topic = "house/a3/temperature"
[[probe]]
tank = "A3"
quantity = "ph"
topic = "house/a3/ph"
every = "5 s"
"""


def written_room(folder: Path, text: str = ROOM) -> Path:
    """A room of one tank, in a folder of its own."""
    room = folder / "room.toml"
    room.write_text(text, encoding="utf-8")
    return room


def keep_hour(setup: Setup, *, now_ms: int, celsius: float = 26.5, ph: float = 5.9) -> None:
    """The hour before `now_ms`, judged and kept; nobody is told."""
    store = Store.open(setup.storage.path)
    try:
        from_ms = now_ms - 60 * MINUTE_MS
        fold = fold_of(setup, store, start_ms=from_ms)
        readings = [
            Reading(probe, at_ms, value)
            for at_ms in range(from_ms, now_ms, MINUTE_MS)
            for probe, value in (("a3-temperature", celsius), ("a3-ph", ph))
        ]
        store.keep(without_notices(fold.take(readings, now_ms)))
    finally:
        store.close()


@contextmanager
def watching(room: Path) -> Iterator[Watch]:
    """The whole daemon, with no broker to reach and no pages to serve, until the block ends."""
    with at_work(room) as daemon:
        assert daemon.parts is not None
        yield daemon.parts.watch


@contextmanager
def at_work(
    room: Path, channel_for: Callable[[WaySettings], Channel] = lambda _: Pigeonhole()
) -> Iterator[Daemon]:
    """The same with all its parts. channel_for: makes the channel of a way added meanwhile."""
    setup = load_setup(room, {"ROEWATCH_WEB__PORT": str(free_port())})
    daemon = Daemon(
        setup,
        {way.name: Pigeonhole() for way in setup.ways},
        read_again=lambda: load_setup(room, {}),
        channel_for=channel_for,
    )
    ready = threading.Event()

    def work() -> None:
        try:
            daemon.run(lambda _: ready.set())
        finally:
            ready.set()

    thread = threading.Thread(target=work)
    thread.start()
    try:
        assert ready.wait(30)
        yield daemon
    finally:
        daemon.stop.set()
        thread.join(30)
