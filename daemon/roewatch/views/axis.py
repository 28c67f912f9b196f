"""An axis: where the numbers and the hours are written along a chart's edges.

Hours are the room's own: a local day may have 23 or 25 of them, so the marks are found by
walking the wall clock and asking the zone when each hour was, if it was at all.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from roewatch.room.moment import DAY_MS, HOUR_MS, at_ms_of, moment_of

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_HOUR_STEPS = (1, 2, 3, 4, 6, 12)
_DAY_STEPS = (1, 2, 5, 7, 14, 30, 60)
_MOST_MARKS = 8


@dataclass(frozen=True, slots=True)
class TimeMark:
    """One mark of the time axis. heavy: a local midnight."""

    at_ms: int
    text: str
    heavy: bool = False


def day_name(day: date) -> str:
    """`Mon 23`."""
    return f"{_DAYS[day.weekday()]} {day.day}"


def date_name(day: date) -> str:
    """`23 Nov`."""
    return f"{day.day} {_MONTHS[day.month - 1]}"


def instants(wall: datetime, zone: ZoneInfo) -> list[tuple[int, str]]:
    """When a naive wall-clock time was, in order: never, once, or twice when clocks go back.

    The text tells the two apart: ` (1st)` and ` (2nd)`, empty when there is but one.
    """
    found: list[int] = []
    for fold in (0, 1):
        aware = wall.replace(tzinfo=zone, fold=fold)
        at_ms = at_ms_of(aware)
        # a wall-clock time that was skipped comes back as another one
        if moment_of(at_ms).astimezone(zone).replace(tzinfo=None) == wall and at_ms not in found:
            found.append(at_ms)
    if len(found) == 2:
        return [(found[0], " (1st)"), (found[1], " (2nd)")]
    return [(at_ms, "") for at_ms in found]


def _days(from_ms: int, to_ms: int, zone: ZoneInfo) -> Iterator[date]:
    day = moment_of(from_ms).astimezone(zone).date() - timedelta(days=1)
    last = moment_of(to_ms).astimezone(zone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)


def _hour_marks(from_ms: int, to_ms: int, zone: ZoneInfo, step: int) -> list[TimeMark]:
    marks = []
    for day in _days(from_ms, to_ms, zone):
        for hour in range(0, 24, step):
            wall = datetime(day.year, day.month, day.day, hour)  # noqa: DTZ001 a wall clock
            for at_ms, which in instants(wall, zone):
                text = day_name(day) if hour == 0 else f"{hour:02d}:00{which}"
                if from_ms <= at_ms <= to_ms:
                    marks.append(TimeMark(at_ms, text, heavy=hour == 0))
    return marks


def _day_marks(from_ms: int, to_ms: int, zone: ZoneInfo, step: int) -> list[TimeMark]:
    marks = []
    for day in _days(from_ms, to_ms, zone):
        if day.toordinal() % step:
            continue
        # a midnight that clocks skip is replaced by the first hour that was
        for hour in (0, 1):
            found = instants(datetime(day.year, day.month, day.day, hour), zone)  # noqa: DTZ001
            if found:
                at_ms = found[0][0]
                text = day_name(day) if step == 1 else date_name(day)
                if from_ms <= at_ms <= to_ms:
                    marks.append(TimeMark(at_ms, text, heavy=True))
                break
    return marks


def time_marks(from_ms: int, to_ms: int, zone: ZoneInfo) -> list[TimeMark]:
    """At most eight marks between the two moments, on round hours or days of the zone."""
    span = to_ms - from_ms
    if span <= 2 * DAY_MS:
        hours = span / HOUR_MS
        step = next((s for s in _HOUR_STEPS if hours / s <= _MOST_MARKS), _HOUR_STEPS[-1])
        return _hour_marks(from_ms, to_ms, zone, step)
    days = span / DAY_MS
    step = next((s for s in _DAY_STEPS if days / s <= _MOST_MARKS), math.ceil(days / _MOST_MARKS))
    return _day_marks(from_ms, to_ms, zone, step)


def value_marks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers strictly between low and high, one, two or five times a power of ten apart."""
    if not low < high:
        return []
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * nice for nice in (1, 2, 5, 10) if power * nice >= rough)
    first = math.ceil(low / step)
    marks = []
    while first * step < high:
        marks.append(round(first * step, 10))
        first += 1
    return marks
