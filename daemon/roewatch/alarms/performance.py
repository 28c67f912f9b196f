"""Alarm performance: how well the alarms served their keeper over a span, and what to mend.

The measures are those usually kept under ISA-18.2 and EEMUA 191. The targets are our own, for
one person with a phone and a night's sleep; the standards' figures are for a staffed room.
"""

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.notice import About, Notice
from roewatch.alarms.rationale import rationale_of
from roewatch.alarms.rationale_probe import PROBE
from roewatch.alarms.ring import Ring, rings_of
from roewatch.room.kind import Kind, Priority
from roewatch.room.local_time import local_clock, local_minute
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, iso, span_text
from roewatch.room.quantity import Quantity

FLEETING_MS = 2 * MINUTE_MS
STALE_MS = DAY_MS
RESTLESS = 3
"""So many raises of one alarm within an hour, with our delays, are chattering."""
NIGHT_FROM_MIN, NIGHT_TO_MIN = 22 * 60, 7 * 60
MOST_NOTICES_A_DAY = 2.0
MOST_IDLE_WAKES = 1
MOST_HIGH_SHARE = 0.10

MANY_HIGH_A_WEEK = 2.0
"""Fewer are calls that somebody can answer, whatever their share of few alarms."""

_PHONE = frozenset({About.RAISED, About.REMINDER, About.ESCALATED})
_BAND = {Quantity.TEMPERATURE: "deadband_celsius", Quantity.PH: "deadband_ph"}
_WIDEN = {
    Kind.PROBE_PATCHY: "mend the signal, or set the probe's `every` to what it can do",
    Kind.PROBE_SILENT: "mend the supply, or lengthen the silence it is allowed",
    Kind.PROBE_NOISY: "dry and reroute the cable",
    Kind.HEATER_WORKS_HARDER: "look at lid and draught once; it is meant for the digest",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Often:
    """One alarm that rang often: its key and name, how often, and the most within an hour."""

    key: str
    name: str
    kind: Kind
    quantity: Quantity | None
    times: int
    share: float
    most_in_an_hour: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """The figures of one span. Spans in ms; None where there was nothing to measure.

    wakes: night calls, one for each alarm and night; idle_wakes: those that were over by
    themselves before anybody had acknowledged. notices: messages that called, one way counted.
    high: the rings that were high.
    """

    from_ms: int
    to_ms: int
    zone: str
    rings: int
    by_priority: dict[Priority, int]
    high: tuple[Ring, ...]
    per_day: float
    most_in_ten_minutes: int
    most_in_an_hour: int
    often: tuple[Often, ...]
    chattering: tuple[Often, ...]
    fleeting: int
    stale: tuple[Ring, ...]
    notices_per_day: float
    wakes: int
    idle_wakes: tuple[Ring, ...]
    answer_ms: int | None
    slowest_answer_ms: int | None
    unanswered: int

    @property
    def high_share(self) -> float:
        """The part of all rings that were high, 0 to 1."""
        return self.by_priority.get(Priority.HIGH, 0) / self.rings if self.rings else 0.0


def performance_of(
    changes: Iterable[AlarmChange],
    notices: Iterable[Notice],
    *,
    from_ms: int,
    to_ms: int,
    zone: str,
) -> Performance:
    """The figures from `from_ms` up to `to_ms`.

    changes: the history in order of time; begin it a little before `from_ms` if an alarm may
    have been open. notices: those made in the span. zone: the room's, for what is night.
    """
    rings = [ring for ring in rings_of(changes) if from_ms <= ring.rang_ms < to_ms]
    days = max((to_ms - from_ms) / DAY_MS, 1e-9)
    times = [ring.rang_ms for ring in rings]
    calls = [n for n in notices if n.about in _PHONE and from_ms <= n.made_ms < to_ms]
    wakes = _wakes(rings, calls, zone)
    answers = [
        ring.acknowledged_ms - ring.rang_ms
        for ring in rings
        if ring.acknowledged_ms is not None and ring.priority is Priority.HIGH
    ]
    often = _often(rings)
    return Performance(
        from_ms=from_ms,
        to_ms=to_ms,
        zone=zone,
        rings=len(rings),
        by_priority=dict(Counter(ring.priority for ring in rings)),
        high=tuple(ring for ring in rings if ring.priority is Priority.HIGH),
        per_day=len(rings) / days,
        most_in_ten_minutes=most_within(times, 10 * MINUTE_MS),
        most_in_an_hour=most_within(times, HOUR_MS),
        often=often[:10],
        chattering=tuple(one for one in often if one.most_in_an_hour >= RESTLESS),
        fleeting=sum(
            ring.returned_ms is not None and ring.lasted_ms(to_ms) < FLEETING_MS for ring in rings
        ),
        stale=tuple(ring for ring in rings if ring.lasted_ms(to_ms) >= STALE_MS),
        notices_per_day=max(Counter(n.way for n in calls).values(), default=0) / days,
        wakes=len(wakes),
        idle_wakes=tuple(ring for ring in wakes if _was_idle(ring)),
        answer_ms=round(median(answers)) if answers else None,
        slowest_answer_ms=max(answers, default=None),
        unanswered=sum(
            ring.acknowledged_ms is None and ring.priority is Priority.HIGH for ring in rings
        ),
    )


def most_within(times: Sequence[int], span_ms: int) -> int:
    """The most of `times`, in order, that fall in any span of that length."""
    return max(
        (place - bisect_left(times, at_ms - span_ms + 1) + 1 for place, at_ms in enumerate(times)),
        default=0,
    )


def advice_on(performance: Performance) -> list[str]:
    """What the figures suggest, most pressing first; empty when there is nothing to mend."""
    advice = [f"{one.name} {chatter_text(one)}" for one in performance.chattering]
    idle = performance.idle_wakes
    if len(idle) > MOST_IDLE_WAKES:
        worst, times = Counter(ring.name for ring in idle).most_common(1)[0]
        advice.append(
            f"{len(idle)} night calls were over before anybody acted, {times} of them {worst}: "
            "should it wait until morning?"
        )
    many = len(performance.high) > MANY_HIGH_A_WEEK * _weeks(performance)
    if many and performance.rings >= 10 and performance.high_share > MOST_HIGH_SHARE:
        worst, times = Counter(ring.name for ring in performance.high).most_common(1)[0]
        advice.append(
            f"{performance.high_share:.0%} of the alarms were high, {times} of them {worst}: above "
            f"{MOST_HIGH_SHARE:.0%} a call no longer means hurry. Mend that first."
        )
    if performance.notices_per_day > MOST_NOTICES_A_DAY:
        advice.append(
            f"{performance.notices_per_day:.1f} messages a day; more than "
            f"{MOST_NOTICES_A_DAY:g} and they are no longer read. Start with the top of the list."
        )
    for ring in performance.stale[:3]:
        lasted = span_text(ring.lasted_ms(performance.to_ms))
        advice.append(f"{ring.name} stood for {lasted}: {_ended(ring)}")
    if performance.unanswered:
        advice.append(
            f"{performance.unanswered} high alarms were never acknowledged: "
            "did the messages arrive? Send a test."
        )
    return advice


def chatter_text(one: Often) -> str:
    """`rang 6 times in an hour: widen the dead band …?`, for one that chatters."""
    return f"rang {one.most_in_an_hour} times in an hour: {_calmer(one)}?"


def performance_data(performance: Performance) -> dict[str, Any]:
    """The figures as plain JSON values."""
    p = performance
    return {
        "from": iso(p.from_ms),
        "to": iso(p.to_ms),
        "alarms": p.rings,
        "by_priority": {str(priority): n for priority, n in p.by_priority.items()},
        "per_day": p.per_day,
        "most_in_ten_minutes": p.most_in_ten_minutes,
        "most_in_an_hour": p.most_in_an_hour,
        "often": [{"key": o.key, "times": o.times, "share": o.share} for o in p.often],
        "chattering": [o.key for o in p.chattering],
        "fleeting": p.fleeting,
        "stale": [ring.key for ring in p.stale],
        "notices_per_day": p.notices_per_day,
        "night_calls": p.wakes,
        "night_calls_for_nothing": len(p.idle_wakes),
        "answer_s": None if p.answer_ms is None else p.answer_ms / 1000,
        "slowest_answer_s": None if p.slowest_answer_ms is None else p.slowest_answer_ms / 1000,
        "never_answered": p.unanswered,
        "advice": advice_on(p),
    }


def _weeks(performance: Performance) -> float:
    return max((performance.to_ms - performance.from_ms) / (7 * DAY_MS), 1e-9)


def _told(ring: Ring, performance: Performance) -> str:
    at = local_clock(ring.rang_ms, performance.zone, 0)
    if ring.acknowledged_ms is None:
        return f"{at}  {ring.name}, never acknowledged"
    return f"{at}  {ring.name}, seen after {span_text(ring.acknowledged_ms - ring.rang_ms)}"


def _calmer(one: Often) -> str:
    if one.kind in {Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW} and one.quantity is not None:
        key = _BAND.get(one.quantity, "deadband_share")
        return f"widen the dead band ({key} under [judging])"
    return _WIDEN.get(one.kind, "lengthen its delay")


def _ended(ring: Ring) -> str:
    """What to do about a ring that stood too long; only of a probe one may stop hearing."""
    if ring.kind in PROBE:
        return "mend it, or take it out of service until it is."
    return rationale_of(ring.kind, ring.quantity).first_act


def performance_text(performance: Performance) -> str:
    """The report as its keeper reads it."""
    p = performance
    split = ", ".join(
        f"{p.by_priority.get(priority, 0)} {priority}"
        for priority in (Priority.HIGH, Priority.MEDIUM, Priority.LOW)
    )
    answer = "no high alarm was acknowledged"
    if p.answer_ms is not None and p.slowest_answer_ms is not None:
        slowest = span_text(p.slowest_answer_ms)
        answer = f"half within {span_text(p.answer_ms)}, the slowest {slowest}"
    aim = f"aim: {MANY_HIGH_A_WEEK:g} a week, or {MOST_HIGH_SHARE:.0%} of many"
    lines = [
        f"Alarms: {p.rings} ({split}), {p.per_day:.1f} a day",
        f"High: {p.high_share:.0%} of them, {len(p.high) / _weeks(p):.1f} a week ({aim})",
        f"Busiest: {p.most_in_ten_minutes} in ten minutes, {p.most_in_an_hour} in an hour",
        f"Messages that called: {p.notices_per_day:.1f} a day (aim: {MOST_NOTICES_A_DAY:g})",
        f"Night calls: {p.wakes}, {len(p.idle_wakes)} for nothing (aim: {MOST_IDLE_WAKES})",
        f"High alarms acknowledged: {answer}; never: {p.unanswered}",
        f"Chattering: {len(p.chattering)}, fleeting: {p.fleeting}, stale: {len(p.stale)}",
    ]
    if p.high:
        lines.append("High, the latest last:")
        lines += [f"  {_told(ring, p)}" for ring in p.high[-10:]]
    if more := [one for one in p.often if one.times > 1]:
        lines.append("More than once:")
        lines += [f"  {one.times:4d}  {one.share:4.0%}  {one.name}" for one in more]
    advice = advice_on(p)
    lines += ["To mend:", *(f"  {text}" for text in advice)] if advice else ["Nothing to mend."]
    return "\n".join(lines)


def _often(rings: Sequence[Ring]) -> tuple[Often, ...]:
    by_key: dict[str, list[Ring]] = defaultdict(list)
    for ring in rings:
        by_key[ring.key].append(ring)
    found = [
        Often(
            key=key,
            name=mine[0].name,
            kind=mine[0].kind,
            quantity=mine[0].quantity,
            times=len(mine),
            share=len(mine) / len(rings),
            most_in_an_hour=most_within([ring.rang_ms for ring in mine], HOUR_MS),
        )
        for key, mine in by_key.items()
    ]
    return tuple(sorted(found, key=lambda one: (-one.times, one.key)))


def _wakes(rings: Sequence[Ring], calls: Sequence[Notice], zone: str) -> list[Ring]:
    """The rings of high alarms that called somebody at night, once each."""
    night: dict[int, list[int]] = defaultdict(list)
    for notice in calls:
        if notice.priority is Priority.HIGH and _is_night(notice.made_ms, zone):
            for number in notice.alarms:
                night[number].append(notice.made_ms)

    def woke(ring: Ring) -> bool:
        return any(
            made_ms >= ring.rang_ms and (ring.returned_ms is None or made_ms <= ring.returned_ms)
            for made_ms in night[ring.number]
        )

    return [ring for ring in rings if ring.priority is Priority.HIGH and woke(ring)]


def _is_night(at_ms: int, zone: str) -> bool:
    minute = local_minute(at_ms, zone)
    return minute >= NIGHT_FROM_MIN or minute < NIGHT_TO_MIN


def _was_idle(ring: Ring) -> bool:
    if ring.returned_ms is None:
        return False
    return ring.acknowledged_ms is None or ring.acknowledged_ms >= ring.returned_ms
