"""The clock of development: how far eggs and larvae have come in water of changing warmth.

Development is counted in degree-hours: hours times the degrees above the temperature at which it
would stand still. The event falls where the sum reaches the species' own figure.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

from roewatch.breeding.temperatures import Temperatures, measured_between
from roewatch.room.moment import DAY_MS, HOUR_MS

TOO_WARM = 32.0
"""°C from which nothing is forecast. Source: embryos deform from 32.5 °C (zebrafish, Reproductive
Toxicology 56, 2015) and 34 °C (goldfish, 2023); half a degree below is kept clear."""

_LONGEST_MS = 120 * DAY_MS


@dataclass(frozen=True, slots=True)
class Gathered:
    """The running sum of °C·h above one temperature, made once and asked often.

    warmer: degrees by which all that was not measured may have been, or may become, warmer.
    """

    temperatures: Temperatures
    zero_celsius: float
    warmer: float = 0.0
    _ends: list[tuple[float, float]] = field(init=False, default_factory=list, repr=False)
    _sums: list[float] = field(init=False, default_factory=list, repr=False)

    def __post_init__(self) -> None:
        """Sums at every reading; between two the warmth runs straight."""
        known = zip(self.temperatures.at_ms, self.temperatures.celsius, strict=True)
        total = 0.0
        # written out for speed: this runs over every ten minutes of three weeks, for every law
        for (a_ms, a), (b_ms, b) in pairwise(known):
            zero = self.zero_celsius
            if not measured_between(a_ms, b_ms):
                zero -= self.warmer
            first, last = (a - zero if a > zero else 0.0), (b - zero if b > zero else 0.0)
            self._sums.append(total)
            self._ends.append((first, last))
            total += (first + last) / 2 * (b_ms - a_ms) / HOUR_MS
        self._sums.append(total)

    def until(self, at_ms: int) -> float:
        """The sum at `at_ms`, from an origin of its own."""
        known = self.temperatures.at_ms
        if not known or at_ms >= known[-1]:
            since_ms = at_ms - (known[-1] if known else 0)
            return self._sums[-1] + self._after * since_ms / HOUR_MS
        if at_ms <= known[0]:
            return self._before * (at_ms - known[0]) / HOUR_MS
        k = bisect_right(known, at_ms) - 1
        first, last = self._ends[k]
        hours, span = (at_ms - known[k]) / HOUR_MS, (known[k + 1] - known[k]) / HOUR_MS
        return self._sums[k] + first * hours + (last - first) / (2 * span) * hours**2

    def reached(self, more: float, from_ms: int) -> int | None:
        """When the sum since `from_ms` comes to `more`; None if not within 120 days."""
        wanted = self.until(from_ms) + more
        if self.until(from_ms + _LONGEST_MS) < wanted:
            return None
        known = self.temperatures.at_ms
        if not known or wanted >= self._sums[-1]:
            return (known[-1] if known else 0) + _ms(wanted - self._sums[-1], self._after)
        if wanted <= 0:
            return known[0] + _ms(wanted, self._before)
        k = bisect_left(self._sums, wanted) - 1
        first, last = self._ends[k]
        bend = (last - first) / (2 * (known[k + 1] - known[k]) / HOUR_MS)
        left = wanted - self._sums[k]
        # the form of the root that also holds for a straight line (bend = 0)
        root = max(first * first + 4 * bend * left, 0.0) ** 0.5
        return known[k] + _ms(2 * left, first + root)

    @property
    def _before(self) -> float:
        return max(self.temperatures.celsius[0] + self.warmer - self.zero_celsius, 0.0)

    @property
    def _after(self) -> float:
        return max(self.temperatures.ahead + self.warmer - self.zero_celsius, 0.0)


@lru_cache(maxsize=16)  # one forecast asks for the same sums from several starts
def gathered(temperatures: Temperatures, zero_celsius: float, warmer: float = 0.0) -> Gathered:
    """The running sum of °C·h above `zero_celsius`."""
    return Gathered(temperatures, zero_celsius, warmer)


def hours_at_or_above(temperatures: Temperatures, celsius: float, from_ms: int) -> float:
    """Measured hours since `from_ms` in water of `celsius` or more."""
    return sum(
        (part.to_ms - part.from_ms) / HOUR_MS
        for part in temperatures.between(from_ms, temperatures.last_ms or from_ms)
        if part.measured and (part.first + part.last) / 2 >= celsius
    )


def _ms(degree_hours: float, above: float) -> int:
    return round(degree_hours / above * HOUR_MS) if degree_hours else 0
