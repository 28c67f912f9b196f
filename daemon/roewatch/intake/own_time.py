"""An own time: the moment a payload itself says it was measured, and whether to believe it."""

from functools import lru_cache

from roewatch.intake.document import said
from roewatch.intake.example import example
from roewatch.intake.written import LONGEST, UnreadableError, as_float, finite
from roewatch.room.moment import MINUTE_MS, at_ms_of_iso

EARLIEST_MS = 1_262_304_000_000
"""2010-01-01T00:00:00Z. Clocks with a flat battery wake up in 1970, 1980 or 2000."""

LATEST_MS = 4_102_444_800_000
"""2100-01-01T00:00:00Z. What tells of a later year is no clock that runs ahead, but no clock."""

AHEAD_MS = 5 * MINUTE_MS
"""How far a probe's clock may run ahead of ours before its time is not believed."""

_WANT = "want ISO 8601 such as 2026-03-01T11:20:00Z"
_MILLI_FROM, _MICRO_FROM, _NANO_FROM = 1e11, 1e14, 1e17  # as seconds, the years past 5000


def believable(own_ms: int, arrival_ms: int) -> bool:
    """Whether a payload's own time can be when the water was measured."""
    return EARLIEST_MS <= own_ms <= arrival_ms + AHEAD_MS


def own_ms_of(given: object, arrival_ms: int) -> int:
    """Milliseconds since the epoch of a time found in JSON: ISO 8601 with a zone, or a number.

    A number counts seconds, or milli-, micro- or nanoseconds: no two of these put one number into
    the span up to 2100. A number that falls there in none is read as seconds.
    Raises UnreadableError if it is neither, or has no time zone.
    """
    if isinstance(given, str):
        return _from_iso(given)
    if type(given) is int and believable(given, arrival_ms):
        return given  # milliseconds, as most clocks count them
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        raise UnreadableError(f"is {said(given)}; want ISO 8601 or seconds since 1970")
    number = finite(as_float(given))
    own_ms = _rounded(number / _per_second(number))
    return own_ms if EARLIEST_MS <= own_ms < LATEST_MS else _rounded(number)


def _per_second(number: float) -> float:
    if number < _MILLI_FROM:
        return 1.0
    if number < _MICRO_FROM:
        return 1e3
    return 1e6 if number < _NANO_FROM else 1e9


def _rounded(seconds: float) -> int:
    # far outside any calendar: no need to carry 300 digits about
    return round(max(min(seconds, 1e15), -1e15) * 1000)


@lru_cache(maxsize=256)
def _from_iso(text: str) -> int:
    if len(text) > LONGEST:
        raise UnreadableError(f"{example(text)} is too long; {_WANT}")
    try:
        return at_ms_of_iso(text)
    except (ValueError, OverflowError) as error:
        raise UnreadableError(f"{example(text)} is no time with a zone; {_WANT}") from error
