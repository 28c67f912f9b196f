"""Late: which to-dos of a brood are alarms by now."""

from roewatch.breeding.brood import Brood
from roewatch.breeding.development import CannotSay, Leg
from roewatch.breeding.forecast import BroodForecast, Expected
from roewatch.breeding.tasks import todos
from roewatch.breeding.todo import Todo
from roewatch.room.species import SpeciesSheet

_UNTOLD = BroodForecast(
    hatch=CannotSay(leg=Leg.HATCH, why=""), swimming=CannotSay(leg=Leg.SWIMMING, why="")
)


def late(brood: Brood, sheet: SpeciesSheet, now_ms: int, *, zone: str) -> tuple[Todo, ...]:
    """The urgent to-dos of `brood` that are late at `now_ms`, soonest due first.

    Only what was recorded counts, never a forecast: an alarm waits for evidence.
    """
    told = _UNTOLD if brood.swimming_ms is None else _swims(brood.swimming_ms)
    found = todos(brood, sheet, told, (), now_ms=now_ms, zone=zone)
    return tuple(todo for todo in found if todo.urgent and todo.late_ms(now_ms) > 0)


def _swims(at_ms: int) -> BroodForecast:
    recorded = Expected(
        leg=Leg.SWIMMING, from_ms=at_ms, likely_ms=at_ms, to_ms=at_ms, happened=True
    )
    return BroodForecast(hatch=_UNTOLD.hatch, swimming=recorded)
