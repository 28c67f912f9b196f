"""A tally: what one brood says of one success: so many of so many, as ranges where they are."""

from dataclasses import dataclass
from enum import StrEnum

from roewatch.breeding.brood import Brood
from roewatch.breeding.count import Count, Counted
from roewatch.breeding.record import Outcome
from roewatch.room.moment import HOUR_MS

_FIRST_DAY_MS = 36 * HOUR_MS
"""White eggs taken out until then were never fertilised; later ones died (common practice)."""


class Success(StrEnum):
    """What can be compared; the text value is what pages and commands write."""

    FERTILISED = "fertilised"  # clear at 24 h, of the eggs
    HATCHED = "hatched"  # of the eggs
    SWIMMING = "swimming"  # of those hatched
    DAY_14 = "day-14"  # alive at day 14, of those hatched
    DAY_30 = "day-30"  # alive at day 30, of those hatched


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """So many of so many of one brood; each as low and high. The same where it was counted."""

    brood: str
    of_low: int
    of_high: int
    low: int
    high: int

    @property
    def trials(self) -> float:
        """The middle of the whole."""
        return (self.of_low + self.of_high) / 2

    @property
    def share(self) -> float:
        """The middle of the part over the middle of the whole."""
        return (self.low + self.high) / 2 / self.trials


def tally(brood: Brood, success: Success) -> Tally | str:
    """What `brood` says, or why it says nothing.

    A brood that was lost before a stage has none of it: leaving it out would flatter the rest.
    """
    whole = brood.counts.get(
        Counted.EGGS if success in {Success.FERTILISED, Success.HATCHED} else Counted.HATCHED
    )
    if success is Success.FERTILISED:
        part = _clear(brood, whole)
    else:
        part = brood.counts.get(Counted(success.value))
        if part is None and brood.outcome is Outcome.LOST and not _came_so_far(brood, success):
            part = Count(low=0, high=0)
    if whole is None:
        return "what it is a share of was not counted"
    if part is None:
        return "not counted"
    if whole.low == 0:
        return "a share of nothing"
    if part.low > whole.high:
        return f"more {success} than there were: {part.text} of {whole.text}"
    return Tally(
        brood=brood.id,
        of_low=whole.low,
        of_high=whole.high,
        low=part.low,
        high=min(part.high, whole.high),
    )


def _clear(brood: Brood, eggs: Count | None) -> Count | None:
    if eggs is None or brood.spawned_ms is None:
        return None
    until_ms = brood.spawned_ms + _FIRST_DAY_MS
    white = [
        record.count
        for record in brood.records
        if record.counted is Counted.WHITE and record.count and record.at_ms <= until_ms
    ]
    if not white:
        return None
    low, high = sum(count.low for count in white), sum(count.high for count in white)
    return Count(low=max(eggs.low - high, 0), high=max(eggs.high - low, 0))


def _came_so_far(brood: Brood, success: Success) -> bool:
    reached = brood.hatched_ms if success is Success.HATCHED else brood.swimming_ms
    return reached is not None
