"""Hours: a series as a table, one row an hour of the room's own clock, or one in six."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, moment_of
from roewatch.views.axis import day_name
from roewatch.views.trace import Trace, WindowSpan, window_at
from roewatch.views.wording import clock


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One hour. mean: weighed by time; all None where there are no readings."""

    name: str
    mean: float | None
    lowest: float | None
    highest: float | None
    outside_min: int


@dataclass(slots=True)
class _Sum:
    weight: float = 0.0
    total: float = 0.0
    outside_ms: float = 0.0
    values: list[float] = field(default_factory=list)


def _held(trace: Trace) -> Iterator[tuple[int, float, int]]:
    """Each reading with how long it held: until the next, but never across a hole."""
    for run in trace.runs:
        for order, (at_ms, value) in enumerate(run):
            following = run[order + 1][0] if order + 1 < len(run) else at_ms + 1
            yield at_ms, value, following - at_ms


def hour_rows(
    traces: Sequence[Trace], spans: Sequence[WindowSpan], *, from_ms: int, to_ms: int, zone: str
) -> list[Row]:
    """The rows of a span, the newest first; an hour without readings says so."""
    step = HOUR_MS if to_ms - from_ms <= 8 * DAY_MS else 6 * HOUR_MS
    first = from_ms - from_ms % step
    sums = [_Sum() for _ in range(first, to_ms, step)]
    for trace in traces:
        for at_ms, value, held_ms in _held(trace):
            order = (at_ms - first) // step
            if not 0 <= order < len(sums):
                continue
            row = sums[order]
            row.values.append(value)
            row.weight += held_ms
            row.total += held_ms * value
            window = window_at(spans, at_ms)
            if window and window.outside_by(value):
                row.outside_ms += held_ms
    where = ZoneInfo(zone)
    rows = [_row(row, first + order * step, where) for order, row in enumerate(sums)]
    return rows[::-1]


def _row(row: _Sum, begin_ms: int, zone: ZoneInfo) -> Row:
    day = day_name(moment_of(begin_ms).astimezone(zone).date())
    return Row(
        name=f"{day}, {clock(begin_ms, zone)}",
        mean=row.total / row.weight if row.weight else None,
        lowest=min(row.values, default=None),
        highest=max(row.values, default=None),
        outside_min=round(row.outside_ms / MINUTE_MS),
    )
