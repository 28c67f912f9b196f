"""The temperatures of a brood's water: what was measured, and what is taken for the rest."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS

UNSURE = 0.5
"""± °C of water that was not measured, where readings stand before or after it (assumed: the swing
of a built-in thermostat)."""

_BIN_MS = 10 * MINUTE_MS
_GAP_MS = HOUR_MS


def measured_between(a_ms: int, b_ms: int) -> bool:
    """Whether two readings stand close enough for the straight line between them to be believed."""
    return b_ms - a_ms <= _GAP_MS


class Segment(NamedTuple):
    """A stretch of time in which the warmth ran straight from `first` to `last` °C."""

    from_ms: int
    to_ms: int
    first: float
    last: float
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperatures:
    """Readings in order, thinned, and the °C taken where nothing was measured.

    ahead: °C taken for the time after the last reading, and for all time when there is none.
    unsure: ± °C of everything that was not measured.
    """

    at_ms: tuple[int, ...] = ()
    celsius: tuple[float, ...] = ()
    ahead: float
    unsure: float = UNSURE

    @property
    def last_ms(self) -> int | None:
        """The moment of the last reading."""
        return self.at_ms[-1] if self.at_ms else None

    def between(self, from_ms: int, to_ms: int) -> Iterator[Segment]:
        """The stretches from `from_ms` to `to_ms`, in order and without a hole."""
        if to_ms <= from_ms:
            return
        if not self.at_ms:
            yield self._taken(from_ms, to_ms, self.ahead, self.ahead)
            return
        first_ms, last_ms = self.at_ms[0], self.at_ms[-1]
        if from_ms < first_ms:
            until = min(first_ms, to_ms)
            yield self._taken(from_ms, until, self.celsius[0], self.celsius[0])
        start = max(bisect_right(self.at_ms, from_ms) - 1, 0)
        knots = zip(self.at_ms[start:], self.celsius[start:], strict=True)
        for (a_ms, a), (b_ms, b) in pairwise(knots):
            if a_ms >= to_ms:
                return
            if from_ms <= a_ms and b_ms <= to_ms:
                yield Segment(a_ms, b_ms, a, b, measured_between(a_ms, b_ms))
                continue
            low, high = max(a_ms, from_ms), min(b_ms, to_ms)
            if low < high:
                slope = (b - a) / (b_ms - a_ms)
                yield Segment(
                    low,
                    high,
                    a + slope * (low - a_ms),
                    a + slope * (high - a_ms),
                    measured_between(a_ms, b_ms),
                )
        if to_ms > last_ms:
            yield self._taken(max(from_ms, last_ms), to_ms, self.ahead, self.ahead)

    def mean(self, from_ms: int, to_ms: int) -> float:
        """Mean °C of that span, bridged where nothing was measured."""
        if to_ms <= from_ms:
            return self.ahead
        whole = 0.0
        for low_ms, high_ms, first, last, _ in self.between(from_ms, to_ms):
            whole += (first + last) / 2 * (high_ms - low_ms)
        return whole / (to_ms - from_ms)

    def bridged_h(self, from_ms: int, to_ms: int) -> float:
        """Hours of that span in which nothing was measured."""
        return sum(
            (part.to_ms - part.from_ms) / HOUR_MS
            for part in self.between(from_ms, to_ms)
            if not part.measured
        )

    def _taken(self, from_ms: int, to_ms: int, first: float, last: float) -> Segment:
        return Segment(from_ms=from_ms, to_ms=to_ms, first=first, last=last, measured=False)


def temperatures_of(
    readings: Sequence[tuple[int, float]], *, nominal: float | None, from_ms: int, to_ms: int
) -> Temperatures | None:
    """What is known of the water from `from_ms` to `to_ms`; None without a reading or a nominal.

    readings: moment and °C, in any order, good ones only; means of ten minutes are kept. What
    comes after the last is taken as the mean of the last day measured, else as `nominal` °C.
    """
    firsts: list[int] = []
    means: list[float] = []
    total, count = 0.0, 0
    for at_ms, celsius in sorted(readings):
        if not from_ms <= at_ms <= to_ms:
            continue
        # each stands at its first moment, which later readings of the same ten minutes do not move
        if not firsts or at_ms // _BIN_MS != firsts[-1] // _BIN_MS:
            firsts.append(at_ms)
            means.append(celsius)
            total, count = 0.0, 0
        total += celsius
        count += 1
        means[-1] = total / count
    if not firsts:
        return None if nominal is None else Temperatures(ahead=nominal, unsure=2 * UNSURE)
    lately = means[bisect_right(firsts, firsts[-1] - DAY_MS) :]
    return Temperatures(at_ms=tuple(firsts), celsius=tuple(means), ahead=sum(lately) / len(lately))
