"""Liveliness: how far a probe's numbers usually go within three hours; a dull one hardly moves.

QARTOD's attenuated signal, by the range within a span of time. A line without any change at all is
a flat line, which is judged apart. What is dull may be true, as in a week so warm that no heater is
needed; so it makes readings suspect, and never an alarm of its own.
"""

from typing import Any

from roewatch.judging.limits import Limits
from roewatch.room.moment import HOUR_MS

_HOURS = 3  # the span, as the shared notes on signals propose
_KNOWN = 24  # so many spans must have been seen
_KEPT = 72
_LEAST = _HOURS - 1  # the spans in which a probe has just become dull hold both, and count as usual


class Liveliness:
    """One probe's range, hour by hour. Looked at when an hour is over, so it costs next to nothing.

    hours: [hour, low, high] of the last ones and of the one that runs. ranges: those of the last
    days that were not dull. dulled: for how many hours in a row it has been dull.
    """

    __slots__ = ("dulled", "hours", "limits", "ranges")

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.hours: list[list[Any]] = []
        self.ranges: list[float] = []
        self.dulled = 0

    def dull(self, from_ms: int, value: float) -> bool:
        """Take the five minutes from `from_ms` on; whether the last whole hours were dull."""
        hour, hours = from_ms // HOUR_MS, self.hours
        if hours and hours[-1][0] == hour:
            last = hours[-1]
            if value < last[1]:
                last[1] = value
            elif value > last[2]:
                last[2] = value
            return self.dulled > 0
        if len(hours) == _HOURS and hour - hours[0][0] == _HOURS:
            self._judge(max(row[2] for row in hours) - min(row[1] for row in hours))
        else:
            self.dulled = 0  # with a hole in it nobody can tell
        hours.append([hour, value, value])
        del hours[:-_HOURS]
        return self.dulled > 0

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
        return [self.hours, self.ranges, self.dulled]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        self.hours, self.ranges, self.dulled = row
