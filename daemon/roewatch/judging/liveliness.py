"""Liveliness: how far a probe's numbers usually go within three hours; a dull one hardly moves.

QARTOD's attenuated signal, by the range within a span of time. A line without any change at all is
a flat line, which is judged apart. What is dull may be true, as in a week so warm that no heater is
needed; so it makes readings suspect, and never an alarm of its own.
"""

from typing import Any, Final

from roewatch.judging.limits import Limits
from roewatch.room.moment import HOUR_MS

_HOURS: Final = 3  # the span, as the shared notes on signals propose
_KNOWN: Final = 24  # so many spans must have been seen
_KEPT: Final = 72
# the spans in which a probe has just become dull hold both, and count as usual
_LEAST: Final = _HOURS - 1


class Liveliness:
    """One probe's range, hour by hour. Looked at when an hour is over, so it costs next to nothing.

    hour, low, high: of the one that runs; -1 before the first. past: the same of those before it.
    ranges: those of the last days that were not dull. dulled: for how many hours in a row it has
    been dull.
    """

    __slots__ = ("dulled", "high", "hour", "limits", "low", "past", "ranges")

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.hour, self.low, self.high = -1, 0.0, 0.0
        self.past: list[list[Any]] = []
        self.ranges: list[float] = []
        self.dulled = 0

    def dull(self, from_ms: int, value: float) -> bool:
        """Take the five minutes from `from_ms` on; whether the last whole hours were dull."""
        hour = from_ms // HOUR_MS
        if hour == self.hour:
            if value < self.low:
                self.low = value
            elif value > self.high:
                self.high = value
            return self.dulled > 0
        hours = self._hours()
        if len(hours) == _HOURS and hour - hours[0][0] == _HOURS:
            self._judge(max(row[2] for row in hours) - min(row[1] for row in hours))
        else:
            self.dulled = 0  # with a hole in it nobody can tell
        self.past = hours[1 - _HOURS :]
        self.hour, self.low, self.high = hour, value, value
        return self.dulled > 0

    def _hours(self) -> list[list[Any]]:
        return [*self.past, [self.hour, self.low, self.high]] if self.hour >= 0 else []

    @property
    def usual(self) -> float | None:
        """The least range of the last days, almost; None before a day is known."""
        return sorted(self.ranges)[_LEAST] if len(self.ranges) >= _KNOWN else None

    def _judge(self, reach: float) -> None:
        usual = self.usual
        if usual is None or not 0 < reach < self.limits.dull_share * usual:
            self.dulled = 0
            self.ranges.append(reach)
            del self.ranges[:-_KEPT]
            return
        self.dulled += 1
        if self.dulled >= _KEPT:  # three days of it are the tank's way
            self.dulled = 0
            self.ranges = []

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [self._hours(), self.ranges, self.dulled]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        hours, self.ranges, self.dulled = row
        *self.past, (self.hour, self.low, self.high) = hours or [[-1, 0.0, 0.0]]
