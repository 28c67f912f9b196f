"""The performance page: how well the alarms served over the last days, and which to mend."""

from starlette.requests import Request
from starlette.responses import Response

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.performance import (
    MANY_HIGH_A_WEEK,
    MOST_IDLE_WAKES,
    MOST_NOTICES_A_DAY,
    Performance,
    advice_on,
    performance_of,
)
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, span_text
from roewatch.views.asked import AskedWrongError
from roewatch.views.pages import Desk
from roewatch.views.ports import Records

SPANS = (("7", "week"), ("30", "30 days"), ("90", "90 days"))
_BEFORE_MS = 30 * DAY_MS
_MOST = 20_000


def performance_over(records: Records, from_ms: int, to_ms: int, zone: str) -> Performance:
    """The figures of a span, from what is kept."""
    # an alarm that stood when the span began still counts in it
    raised = records.alarms(from_ms=from_ms - _BEFORE_MS, to_ms=to_ms, limit=_MOST)
    return performance_among(records, raised, from_ms, to_ms, zone)


def performance_among(
    records: Records, alarms: list[Alarm], from_ms: int, to_ms: int, zone: str
) -> Performance:
    """The figures of a span for these alarms only."""
    changes = [change for alarm in alarms for change in records.changes(alarm.number)]
    notices = {n.id: n for alarm in alarms for n, _ in records.told(alarm.number)}
    changes.sort(key=lambda change: change.at_ms)
    return performance_of(changes, notices.values(), from_ms=from_ms, to_ms=to_ms, zone=zone)


def days_of(text: str) -> int:
    """A span that is offered, in days. Raises AskedWrongError."""
    if text not in dict(SPANS):
        raise AskedWrongError(f"days: {text[:20]!r} is not offered; {', '.join(dict(SPANS))} are")
    return int(text)


def performance_page(desk: Desk, request: Request) -> Response:
    """How well the alarms served: how many, how fast they were answered, which to mend."""
    sight = desk.lookout.look()
    days = days_of(request.query_params.get("days", "30"))
    from_ms = sight.now_ms - days * DAY_MS
    found = performance_over(desk.records, from_ms, sight.now_ms, sight.room.zone)
    weeks = days / 7
    return desk.page(
        request,
        "performance.html",
        sight,
        days=str(days),
        spans=SPANS,
        found=found,
        advice=advice_on(found),
        split=[
            (str(priority), found.by_priority.get(priority, 0))
            for priority in (Priority.HIGH, Priority.MEDIUM, Priority.LOW)
        ],
        high_a_week=len(found.high) / weeks,
        answer="–" if found.answer_ms is None else span_text(found.answer_ms),
        slowest="–" if found.slowest_answer_ms is None else span_text(found.slowest_answer_ms),
        often=[one for one in found.often if one.times > 1],
        aims={
            "high": MANY_HIGH_A_WEEK,
            "notices": MOST_NOTICES_A_DAY,
            "idle": MOST_IDLE_WAKES,
        },
    )
