"""What is coming: the next events of the room, in time, each with where it is seen."""

from collections.abc import Iterable
from dataclasses import dataclass

from roewatch.alarms.alarm import State
from roewatch.breeding.plan import Plan
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import shown
from roewatch.views.sight import Sight
from roewatch.views.wording import quantity_name

_AHEAD_MS = 3 * DAY_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """One event. from_ms, to_ms: when it is expected, the same moment when that is certain."""

    at_ms: int
    tank: str
    text: str
    from_ms: int
    to_ms: int
    href: str


def coming(sight: Sight, plans: Iterable[Plan]) -> list[Coming]:
    """Windows about to be left, plan steps, shelves that end; the soonest first, three days on."""
    found: list[Coming] = []
    for alarm in sight.alarms:
        forecast = alarm.forecast
        if alarm.present and forecast and forecast.likely_ms and forecast.likely_ms > sight.now_ms:
            found.append(
                Coming(
                    at_ms=forecast.likely_ms,
                    tank=alarm.tank,
                    text=f"{quantity_name(alarm.quantity)} leaves window",
                    from_ms=forecast.earliest_ms or forecast.likely_ms,
                    to_ms=forecast.latest_ms or forecast.likely_ms,
                    href=f"/tank/{alarm.tank}",
                )
            )
        if alarm.state is State.SHELVED and alarm.shelved_until_ms:
            found.append(_certain(alarm.shelved_until_ms, alarm.tank, "shelf ends", "/alarms"))
    for plan in plans:
        name = quantity_name(plan.quantity)
        for step in plan.steps:
            text = f"plan: {name} {shown(plan.quantity, step.value).removeprefix('pH ')}"
            found.append(_certain(step.at_ms, plan.tank, text, f"/tank/{plan.tank}"))
    soon = [c for c in found if sight.now_ms < c.at_ms <= sight.now_ms + _AHEAD_MS]
    return sorted(soon, key=lambda c: c.at_ms)


def _certain(at_ms: int, tank: str, text: str, href: str) -> Coming:
    return Coming(at_ms=at_ms, tank=tank, text=text, from_ms=at_ms, to_ms=at_ms, href=href)
