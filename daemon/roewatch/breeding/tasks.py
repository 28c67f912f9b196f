"""The tasks of a brood: its open to-dos in order, each told once until it is ticked."""

from collections.abc import Sequence

from roewatch.breeding.brood import Brood
from roewatch.breeding.egg_tasks import egg_tasks
from roewatch.breeding.forecast import BroodForecast
from roewatch.breeding.fry_tasks import fry_tasks
from roewatch.breeding.livefood import Culture
from roewatch.breeding.scene import Scene
from roewatch.breeding.todo import Todo, in_order
from roewatch.room.species import SpeciesSheet


def todos(
    brood: Brood,
    sheet: SpeciesSheet,
    forecast: BroodForecast,
    cultures: Sequence[Culture],
    *,
    now_ms: int,
    zone: str,
) -> tuple[Todo, ...]:
    """What `brood` asks of its keeper from `now_ms` on and what is late, soonest due first.

    Ticked ones are left out; an ended brood asks nothing.
    """
    if not brood.open:
        return ()
    scene = Scene(
        brood=brood,
        sheet=sheet,
        forecast=forecast,
        cultures=tuple(cultures),
        now_ms=now_ms,
        zone=zone,
    )
    found = [*egg_tasks(scene), *fry_tasks(scene)]
    return tuple(in_order([todo for todo in found if todo.key not in brood.done]))
