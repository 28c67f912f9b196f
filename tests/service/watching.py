"""A watch at work: the real loop, fold, store and control, with nobody at the broker's end."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import cast

from roewatch.intake.link import LinkState
from roewatch.intake.listener import Listener, Message
from roewatch.room.moment import MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.service.clock import WallClock
from roewatch.service.control import ask
from roewatch.service.control_errands import control_of
from roewatch.service.daemon import fold_of
from roewatch.service.demo import without_notices
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.watch import Watch
from roewatch.storage.store import Store


class SilentListener:
    """A link on which nothing ever comes."""

    def __init__(self) -> None:
        self.link = LinkState(True, 0, "")
        self.published: list[str] = []
        self._never = threading.Event()

    def group(self, *, first_wait_s: float) -> list[Message]:
        self._never.wait(0.01)
        return []

    def acknowledge(self, messages: Sequence[Message]) -> None: ...

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self.published.append(topic)


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
    """The daemon's loop and its control, running until the block ends."""
    setup = load_setup(room, {})
    ready, stop = threading.Event(), threading.Event()
    at_work: list[Watch] = []
    clock = WallClock()
    listener = cast("Listener", SilentListener())

    def work() -> None:
        # the store belongs to the thread that opens it
        store = Store.open(setup.storage.path)
        try:
            watch = Watch(
                room_id=setup.room.id,
                bindings=setup.bindings,
                fold=fold_of(setup, store),
                store=store,
                listener=listener,
                clock=clock,
            )
            watch.start()
            at_work.append(watch)
            with control_of(setup, watch, listener, clock):
                ready.set()
                watch.run(stop)
        finally:
            store.close()
            ready.set()

    thread = threading.Thread(target=work)
    thread.start()
    try:
        assert ready.wait(30)
        ask(setup.storage.path, "status")
        yield at_work[0]
    finally:
        stop.set()
        thread.join(30)
