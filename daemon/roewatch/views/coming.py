"""What is coming: the next events of the room, in time, each with where it is seen."""

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import quote

from roewatch.alarms.alarm import State
from roewatch.breeding.plan import Plan
from roewatch.breeding.todo import Task, Todo
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import shown
from roewatch.views.sight import Sight
from roewatch.views.wording import quantity_name

_AHEAD_MS = 3 * DAY_MS
_MOST_LATE = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """One event. from_ms, to_ms: when it is expected, the same moment when that is certain.

    late_ms: how late it is; 0 while it is not, and for what only happens.
    """

    at_ms: int
    tank: str
    text: str
    from_ms: int
    to_ms: int
    href: str
    late_ms: int = 0

    def by_ms(self, now_ms: int) -> int:
        """The moment it stands under: its beginning, or, once that is past, when it ends."""
        return self.to_ms if self.at_ms < now_ms else self.at_ms


def coming(sight: Sight, plans: Iterable[Plan], todos: Iterable[Todo] = ()) -> list[Coming]:
    """Windows about to be left, plan steps, shelves that end, and what broods ask for.

    The soonest first, three days on; before them the newest of what is late.
    """
    found: list[Coming] = [_asked_for(todo, sight.now_ms) for todo in todos if not todo.flag]
    late = sorted((c for c in found if c.late_ms), key=lambda c: c.late_ms)[:_MOST_LATE]
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
    soon = [c for c in found if sight.now_ms < c.to_ms and c.at_ms <= sight.now_ms + _AHEAD_MS]
    return late + sorted((c for c in soon if not c.late_ms), key=lambda c: c.by_ms(sight.now_ms))


def _asked_for(todo: Todo, now_ms: int) -> Coming:
    expected = todo.task in {Task.HATCH, Task.SWIMMING}
    return Coming(
        at_ms=todo.due_ms,
        tank=todo.tank,
        text=todo.words.split(". ")[0].removesuffix(".") + ".",  # the rest stands with the brood
        from_ms=todo.from_ms if expected else todo.to_ms,  # a window that says when it happens
        to_ms=todo.to_ms,
        href=f"/broods/{quote(todo.brood)}",
        late_ms=todo.late_ms(now_ms),
    )


def _certain(at_ms: int, tank: str, text: str, href: str) -> Coming:
    return Coming(at_ms=at_ms, tank=tank, text=text, from_ms=at_ms, to_ms=at_ms, href=href)
