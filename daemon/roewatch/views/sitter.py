"""The sitter's sheet: one page of A4 for whoever stands in, tank by tank, nothing to configure."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from roewatch.breeding.brood import Brood
from roewatch.breeding.livefood import RECIPES
from roewatch.breeding.todo import Task, Todo
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.species import Food
from roewatch.room.stage import Stage
from roewatch.room.tank import Tank
from roewatch.views.brood_words import PaperWords
from roewatch.views.pages import Desk, units_of
from roewatch.views.units import KEPT_UNITS, Units
from roewatch.views.wording import species_name

DAYS = 7
"""So many days the sheet has boxes for, and so far ahead it names tasks."""

_TASKS = frozenset({Task.FEED, Task.FOOD_READY, Task.CULTURE, Task.DARK, Task.LIGHT, Task.SWIMMING})
"""What somebody else can be asked to do or to look for."""

_MOST_TASKS = 3
_USUAL = "usual"  # what that is stands above the table
_LOOKS = {
    Stage.EGGS: "no hand, no lamp; air bubbles",
    Stage.LARVAE: "no hand, no lamp; they hang still",
    Stage.FRY: "full bellies; leftovers out at night",
    Stage.GROWING: "all come to feed; leftovers out",
    Stage.SPAWNING: "pair whole; eggs are no alarm",
    Stage.CONDITIONING: "all come to feed",
    Stage.HOLDING: "all come to feed",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One tank as the sitter reads it."""

    tank: str
    place: str
    species: str
    stage: str
    brood: str
    food: str
    no_food: bool
    tasks: tuple[str, ...]
    look: str
    warmth: str
    ph: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One thing that may happen, and what to do."""

    what: str
    do: str


CASES = (
    Case(
        what="Water on the floor",
        do="Switch off at the fuse before you step in it. Then unplug, close taps, call.",
    ),
    Case(
        what="No electricity",
        do="Leave lids on, do not feed, do not open the tanks. Call. When it returns: heaters and "
        "pumps running in every tank?",
    ),
    Case(
        what="A tank is too warm or too cold",
        do="Too warm: unplug its heater, lid ajar. Too cold: heater plugged in? Call. Never pour "
        "in hot or cold water.",
    ),
    Case(
        what="Fish gasp at the surface",
        do="Air pump running? Open the lid, no food, call at once.",
    ),
    Case(
        what="A dead fish",
        do="Take it out with the tank’s own net, write down tank and time, call the same day.",
    ),
    Case(
        what="Food is left over",
        do="Take it out, give half the next time, or nothing.",
    ),
    Case(
        what="Your hand must go into the water",
        do="Unplug heater and pump first. Dry hands at the socket. One net for each tank.",
    ),
    Case(
        what="The phone shows an alarm",
        do="Open it, read “First”, press Acknowledge, call. Acknowledging changes nothing but the "
        "ringing.",
    ),
)


def sitter_sheet(desk: Desk, request: Request) -> Response:
    """The sheet as of now."""
    sight = desk.lookout.look()
    zone = ZoneInfo(sight.room.zone)
    say, units = PaperWords(sight.now_ms, zone), units_of(request)
    broods: dict[str, Brood] = {}
    for brood in desk.broods.broods():
        if brood.open:
            broods |= dict.fromkeys(brood.last_tanks, brood)
    rows = []
    for standing in sight.standings:
        here = broods.get(standing.tank.id)
        todos = desk.broods.outlook(here, sight.now_ms).todos if here else ()
        rows.append(row_of(standing.tank, here, todos, say, units))
    return desk.alone(
        request,
        "sitter.html",
        rows=rows,
        units=units,
        has_ph=any(row.ph for row in rows),
        days=range(DAYS),
        ifs=CASES,
        contacts=_named(desk) or ("The keeper", "Second, if nobody answers"),
        printed=f"Times in {sight.room.zone}. Printed {say.when(sight.now_ms)}; good for {DAYS} "
        "days, then print it anew.",
    )


def _named(desk: Desk) -> Sequence[str]:
    """Whom to call, in their order."""
    if desk.workshop is None:
        return ()
    return [contact.name for contact in desk.workshop.contacts.contacts()]


def row_of(
    tank: Tank,
    brood: Brood | None,
    todos: Sequence[Todo],
    say: PaperWords,
    units: Units = KEPT_UNITS,
) -> Row:
    """One tank's line. todos: what its brood asks for."""
    # what is long overdue is the keeper's; the sitter begins with today
    soon = [todo for todo in todos if todo.due_ms >= say.now_ms - DAY_MS or todo.flag]
    soon = [todo for todo in soon if todo.from_ms <= say.now_ms + DAYS * DAY_MS]
    fed = [todo for todo in soon if todo.task is Task.FEED]
    asked = [todo for todo in soon if todo.task in _TASKS and todo.task is not Task.FEED]
    stage = brood.stage if brood is not None and brood.stage is not None else tank.stage
    no_food = not tank.species or stage in {Stage.EGGS, Stage.LARVAE}
    place = tank.place
    return Row(
        tank=tank.id,
        place=f"{place.rack}, shelf {place.shelf}" if place.rack else "",
        species=species_name(tank.species) if tank.species else "no fish",
        stage=str(stage) if tank.species else "",
        brood=brood.id if brood else "",
        food=_food(tank, fed, say, no_food=no_food),
        no_food=no_food,
        tasks=tuple(f"{say.when(t.due_ms)}: {_short(t.words)}" for t in asked[:_MOST_TASKS]),
        look=_LOOKS[stage] if tank.species else "nothing to do",
        warmth=_window(tank, Quantity.TEMPERATURE, 0, units),
        ph=_window(tank, Quantity.PH, 1, units),
    )


def _food(tank: Tank, fed: Sequence[Todo], say: PaperWords, *, no_food: bool) -> str:
    if no_food:
        later = [todo for todo in fed if todo.from_ms > say.now_ms]
        return f"until {say.when(later[0].from_ms)}, then {_foods(later[:1])}" if later else ""
    now = [todo for todo in fed if todo.from_ms <= say.now_ms]
    return tank.portion or (_foods(now) if now else _USUAL)


def _foods(fed: Sequence[Todo]) -> str:
    """`infusoria, Artemia, 2-4 times a day, a little at a time`."""
    foods = [todo.key.rpartition("/")[2] for todo in fed]
    named = [RECIPES[Food(food)].named for food in foods if food in set(Food)]
    return f"{', '.join(named)}, 2-4 times a day, a little at a time"


def _short(words: str) -> str:
    """The first sentence, without the recipe that follows a colon."""
    first = words.split(". ", maxsplit=1)[0]
    return first.split(": ")[0].rstrip(".") if len(first) > 60 else first.rstrip(".")


def _window(tank: Tank, quantity: Quantity, digits: int, units: Units) -> str:
    window = tank.windows.get(quantity)
    return units.window(quantity, window).text(digits, to="–") if window else ""
