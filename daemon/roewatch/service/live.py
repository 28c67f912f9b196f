"""The live room: the running daemon as the pages see it."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from roewatch.judging.judge import Learned
from roewatch.room.reading import Flagged
from roewatch.room.tank import Probe, Room
from roewatch.service.clock import Clock
from roewatch.service.watch import Watch
from roewatch.storage.reader import Records
from roewatch.views.ports import LinkView, RefusedView


class RoomRecords(Records):
    """The records of one room, whose probes' calibrations the newest readings carry."""

    def __init__(self, path: Path, room: Room) -> None:
        super().__init__(path)
        self._room = room

    def settle(self, room: Room) -> None:
        """The settings were read again: these are the probes now."""
        self._room = room

    def latest(self, probes: Iterable[Probe] = ()) -> dict[str, Flagged]:
        """The newest reading of each probe; calibrated as the room's settings say."""
        return super().latest(tuple(probes) or self._room.probes)


class LiveRoom:
    """What is true now: the settings in force, the clock, the link, what could not be read."""

    def __init__(self, watch: Watch, clock: Clock) -> None:
        self._watch = watch
        self._clock = clock

    def room(self) -> Room:
        """The room as it is judged now, every tank in its stage."""
        return self._watch.room

    def now_ms(self) -> int:
        """The daemon's time."""
        return self._clock.now_ms()

    def link(self) -> LinkView:
        """How the link to the broker stands."""
        link = self._watch.link
        if not link.connected:
            return LinkView(word="cut off", since_ms=link.since_ms, why=link.why)
        if self._watch.waits_for_clock:
            why = "this machine's clock is wrong; readings wait at the broker until it is put right"
            return LinkView(word="waiting", since_ms=link.since_ms, why=why)
        word = "catching up" if self._watch.catching_up else "live"
        return LinkView(word=word, since_ms=link.since_ms)

    def refused(self) -> Sequence[RefusedView]:
        """What spoke and could not be understood, with one example a topic."""
        return [
            RefusedView(topic=entry.topic, count=entry.count, example=entry.example, why=entry.why)
            for entry in self._watch.refusals.topics()
        ]

    def learned(self, tank: str) -> Learned | None:
        """What is known of a tank's heating; None when a reload has just taken the tank away."""
        try:
            return self._watch.learned(tank)
        except KeyError:
            return None

    def wait_change(self, last: int, timeout_s: float) -> int:
        """Wait until something worth showing was kept since `last`."""
        return self._watch.changed.wait(last, timeout_s)
