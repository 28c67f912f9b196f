"""A moment: when something was true, in UTC; and a span: how long something lasted.

Moments travel as `at_ms`, whole milliseconds since 1970-01-01T00:00:00Z, and spans as
`…_ms`, because the judging path handles six figures of readings a second and a
`datetime` costs ten times an `int`. People and files see ISO 8601 and "5 min".
"""

import re
from datetime import UTC, datetime
from typing import Final

SECOND_MS: Final = 1_000
MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000
DAY_MS: Final = 86_400_000
FAR_MS: Final = 1 << 60  # never; below 2^62, which compiled code would keep as an object

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_SPAN_UNITS = {"s": SECOND_MS, "min": MINUTE_MS, "h": HOUR_MS, "d": DAY_MS}
_SPAN = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(s|min|h|d)\s*")


def at_ms_of(moment: datetime) -> int:
    """Milliseconds since the epoch of an aware `moment`.

    Raises ValueError if `moment` has no time zone: a naive time is a guess.
    """
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone; write it in UTC, ending in Z")
    # by parts, not `timestamp()`: a float there can fall one millisecond short
    since = moment - _EPOCH
    return since.days * DAY_MS + since.seconds * SECOND_MS + since.microseconds // 1000


def moment_of(at_ms: int) -> datetime:
    """The aware UTC datetime of `at_ms`."""
    seconds, thousandths = divmod(at_ms, 1000)
    return datetime.fromtimestamp(seconds, UTC).replace(microsecond=thousandths * 1000)


def iso(at_ms: int) -> str:
    """`at_ms` as ISO 8601 UTC ending in Z; milliseconds are shown only when there are any."""
    text = moment_of(at_ms).isoformat(timespec="milliseconds" if at_ms % 1000 else "seconds")
    return text.replace("+00:00", "Z")


def at_ms_of_iso(text: str) -> int:
    """Milliseconds since the epoch of an ISO 8601 time with a zone.

    Raises ValueError if it is not one, or has no zone.
    """
    return at_ms_of(datetime.fromisoformat(text.strip()))


def span_ms_of(text: str) -> int:
    """Milliseconds of a span as the settings write it: `90 s`, `5 min`, `2 h`, `7 d`.

    Raises ValueError if it is anything else, or no longer than nothing.
    """
    match = _SPAN.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not a span; write a number and s, min, h or d: 90 s, 5 min")
    span_ms = round(float(match[1]) * _SPAN_UNITS[match[2]])
    if span_ms <= 0:
        raise ValueError(f"{text!r} is no time at all; write a span longer than zero")
    return span_ms


def span_text(span_ms: int) -> str:
    """A span for people, in at most two parts: `45 s`, `25 min`, `3 h 10 min`, `2 d 4 h`."""
    seconds = round(abs(span_ms) / SECOND_MS)
    if seconds < 60:
        return f"{seconds} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h" if hours else f"{days} d"
