"""A target: a time-series store elsewhere, which the mirror ships to and can ask what it has."""

from collections.abc import Sequence
from typing import Protocol

from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Probe
from roewatch.storage.day import Cells, cells_of
from roewatch.storage.line import Event

Batch = Sequence[tuple[Probe, Cells]]


class TargetDownError(Exception):
    """The target did not take or answer it; the text says why, without secrets. Try later."""


class Target(Protocol):
    """What the mirror needs of a store. Taking the same reading twice leaves it there once."""

    @property
    def connections(self) -> int:
        """How many times a line was opened so far; once more may mean that it was restarted."""

    def look(self) -> None:
        """Return once the target shows that it is there; else raise TargetDownError.

        If `connections` is then what it was, the target has lived ever since.
        """

    def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
        """Return once the target has said it took them all; else raise TargetDownError."""

    def counts(self, day: int) -> dict[str, int]:
        """How many readings each probe of this room has on that day since 1970 (UTC)."""

    def read(self, probe: Probe, from_ms: int, to_ms: int) -> Cells:
        """The probe's readings with from_ms <= at_ms < to_ms, in order."""

    def close(self) -> None:
        """Let go of the connection."""


class Pigeonhole:
    """Keeps everything in memory: for a dry run of the mirror, and for tests."""

    def __init__(self) -> None:
        self.connections = 1
        self.events: list[Event] = []
        self._readings: dict[str, dict[int, tuple[int, int | float, int]]] = {}

    def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
        """Never fails."""
        for probe, cells in readings:
            there = self._readings.setdefault(probe.id, {})
            there.update({row[0]: row for row in zip(*cells, strict=True)})
        self.events.extend(events)

    def look(self) -> None:
        """Is always there."""

    def counts(self, day: int) -> dict[str, int]:
        """See `Target`."""
        inside = {
            name: sum(day == at_ms // DAY_MS for at_ms in there)
            for name, there in self._readings.items()
        }
        return {name: n for name, n in inside.items() if n}

    def read(self, probe: Probe, from_ms: int, to_ms: int) -> Cells:
        """See `Target`."""
        there = self._readings.get(probe.id, {})
        return cells_of(there[at_ms] for at_ms in sorted(there) if from_ms <= at_ms < to_ms)

    def close(self) -> None:
        """Nothing to let go of."""
