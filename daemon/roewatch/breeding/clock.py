"""The clock of development: how far eggs and larvae have come in water of changing warmth.

Development is counted in degree-hours: hours times the degrees above the temperature at which it
would stand still. The event falls where the sum reaches the species' own figure.
"""

from roewatch.breeding.temperatures import Segment, Temperatures
from roewatch.room.moment import DAY_MS, HOUR_MS

TOO_WARM = 32.0
"""°C from which nothing is forecast. Source: embryos deform from 32.5 °C (zebrafish, Reproductive
Toxicology 56, 2015) and 34 °C (goldfish, 2023); half a degree below is kept clear."""

_LONGEST_MS = 120 * DAY_MS


def degree_hours(
    temperatures: Temperatures, *, zero_celsius: float, from_ms: int, to_ms: int
) -> float:
    """°C·h above `zero_celsius` gathered between two moments; what was not measured is bridged."""
    total = 0.0
    for part in temperatures.between(from_ms, to_ms):
        total += _gathered(part, zero_celsius, 0.0)
    return total


def moment_reached(
    temperatures: Temperatures,
    *,
    zero_celsius: float,
    degree_hours: float,
    from_ms: int,
    warmer: float = 0.0,
) -> int | None:
    """When the sum from `from_ms` on reaches `degree_hours`; None if not within 120 days.

    warmer: degrees by which all that was not measured may have been, or may become, warmer.
    """
    left = degree_hours
    for part in temperatures.between(from_ms, from_ms + _LONGEST_MS):
        gained = _gathered(part, zero_celsius, warmer)
        if gained >= left:
            return _within(part, zero_celsius, warmer, left)
        left -= gained
    return None


def hours_at_or_above(temperatures: Temperatures, celsius: float, from_ms: int) -> float:
    """Measured hours since `from_ms` in water of `celsius` or more."""
    return sum(
        (part.to_ms - part.from_ms) / HOUR_MS
        for part in temperatures.between(from_ms, temperatures.last_ms or from_ms)
        if part.measured and (part.first + part.last) / 2 >= celsius
    )


def _ends(part: Segment, zero: float, warmer: float) -> tuple[float, float]:
    more = 0.0 if part.measured else warmer
    return max(part.first + more - zero, 0.0), max(part.last + more - zero, 0.0)


def _gathered(part: Segment, zero: float, warmer: float) -> float:
    first, last = _ends(part, zero, warmer)
    return (first + last) / 2 * (part.to_ms - part.from_ms) / HOUR_MS


def _within(part: Segment, zero: float, warmer: float, left: float) -> int:
    """The moment inside `part` at which `left` °C·h are gathered: the warmth runs straight."""
    first, last = _ends(part, zero, warmer)
    span_h = (part.to_ms - part.from_ms) / HOUR_MS
    bend = (last - first) / (2 * span_h)
    # the form of the root that also holds for a straight line (bend = 0)
    root = max(first * first + 4 * bend * left, 0.0) ** 0.5
    hours = 2 * left / (first + root) if first + root > 0 else span_h
    return part.from_ms + round(min(hours, span_h) * HOUR_MS)
