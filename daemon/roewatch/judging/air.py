"""Air: the course of the room's air, hour by hour, and how it may be expected to go on."""

from math import ceil
from statistics import fmean

_LOOKS = 12  # five-minute looks an hour
_DAY = 24
_DAYS_BACK = 3
_FURTHEST_H = 12


class Air:
    """The room's air as the last days had it, °C.

    hours: mean of each whole hour, oldest first. now: the looks of the hour that still runs.
    spread: how far it may all be off, °C, where tanks tell it instead of a probe; else 0.
    """

    __slots__ = ("hours", "now", "spread")

    def __init__(self) -> None:
        self.hours: list[float] = []
        self.now: list[float] = []
        self.spread = 0.0

    def ahead(self, hours: float) -> float | None:
        """Mean of the next `hours`: the last hour's air, gone on as at this time of other days.

        None before a whole day is known, or while nothing of this hour is.
        """
        if not self.now or len(self.hours) < _DAY:
            return None
        rest = max(_LOOKS - len(self.now), 0)
        lately = (sum(self.now) + rest * self.hours[-1]) / (len(self.now) + rest)
        many = min(max(ceil(hours), 1), _FURTHEST_H)
        changes = []
        for day in range(1, _DAYS_BACK + 1):
            first = len(self.hours) - day * _DAY
            if first < 0:
                break
            changes.append(fmean(self.hours[first : first + many]) - self.hours[first])
        return lately + fmean(changes)
