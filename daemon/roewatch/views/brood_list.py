"""The broods of the room: those under way with their next event, those that ended, the next one."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from roewatch.breeding.brood import Brood
from roewatch.breeding.count import Counted
from roewatch.breeding.forecast import BroodForecast, Expected
from roewatch.breeding.record import Outcome
from roewatch.breeding.todo import Todo, in_order
from roewatch.room.moment import DAY_MS
from roewatch.room.stage import Stage
from roewatch.views.asked import AskedWrongError
from roewatch.views.brood_bar import bar_svg
from roewatch.views.brood_form import next_number
from roewatch.views.brood_words import (
    OUTCOMES,
    BroodWords,
    bar_for,
    day_words,
    sorted_out,
    tanks_words,
)
from roewatch.views.calendar_route import calendar_address
from roewatch.views.pages import Desk

_AHEAD_MS = 3 * DAY_MS
_A_PAGE = 40
"""So many ended broods a page; the newest first."""

_MOST_NEAR = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One brood under way, as the list shows it."""

    brood: Brood
    tanks: str
    day_words: str
    bar: Markup
    next_words: str
    late: str
    first: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EndedRow:
    """One brood that has ended."""

    brood: Brood
    tanks: str
    eggs: str
    hatched: str
    moved_on: str
    outcome: str


def open_todos(desk: Desk, now_ms: int) -> list[Todo]:
    """What every brood under way asks for within three days, in order of time."""
    found: list[Todo] = []
    for brood in desk.broods.broods():
        if brood.open:
            found += desk.broods.outlook(brood, now_ms).todos
    return in_order([todo for todo in found if todo.due_ms <= now_ms + _AHEAD_MS])


def brood_list(desk: Desk, request: Request) -> Response:
    """Every brood, and what is to do in all of them. Raises AskedWrongError for an odd page."""
    sight = desk.lookout.look()
    say = BroodWords(sight.now_ms, ZoneInfo(sight.room.zone))
    broods = desk.broods.broods()
    under_way = [brood for brood in broods if brood.open]
    cards, todos = [], []
    for brood in under_way:
        outlook = desk.broods.outlook(brood, sight.now_ms)
        todos += [todo for todo in outlook.todos if todo.due_ms <= sight.now_ms + _AHEAD_MS]
        cards.append(_card(brood, outlook.forecast, outlook.todos, say))
    ended = [brood for brood in reversed(broods) if brood.ended_ms is not None]
    pages = max(-(-len(ended) // _A_PAGE), 1)
    page = page_of(request.query_params.get("page", "1"), pages)
    near, later = sorted_out(in_order(todos), sight.now_ms)
    near, later = near[:_MOST_NEAR], near[_MOST_NEAR:] + later
    count = f"{len(under_way)} under way" if under_way else ""
    return desk.page(
        request,
        "brood_list.html",
        sight,
        say=say,
        headline=count,
        open=cards,
        near=near,
        later=later,
        ended=[_ended(brood) for brood in ended[(page - 1) * _A_PAGE : page * _A_PAGE]],
        ended_count=len(ended),
        page=page,
        pages=pages,
        feed=calendar_address(desk, desk.door.who(request)),
    )


def page_of(text: str, pages: int) -> int:
    """A page's number out of so many. Raises AskedWrongError for what is none."""
    if not (text.isascii() and text.isdigit()) or not 1 <= int(text[:6]) <= pages:
        raise AskedWrongError(f"page: {text[:20]!r}; there are 1 to {pages}")
    return int(text)


def _card(brood: Brood, forecast: BroodForecast, todos: tuple[Todo, ...], say: BroodWords) -> Card:
    late = [todo for todo in todos if todo.late_ms(say.now_ms) > 0]
    first = next(iter(late or [todo for todo in todos if not todo.flag]), None)
    bar = bar_svg(
        bar_for(brood, forecast, say.now_ms),
        title=f"Brood {brood.id}: {day_words(brood, say.now_ms)}",
        id=f"bar-{brood.id}",
    )
    return Card(
        brood=brood,
        tanks=tanks_words(brood),
        day_words=day_words(brood, say.now_ms),
        bar=Markup(bar),  # noqa: S704 our own drawing, every text in it escaped
        next_words=next_words(forecast, say),
        late=f"{len(late)} to-do{'s' if len(late) > 1 else ''}" if late else "",
        first=_first_words(first, say) if first else "",
    )


def _first_words(todo: Todo, say: BroodWords) -> str:
    late_ms = todo.late_ms(say.now_ms)
    due = f"late by {say.span(late_ms)}" if late_ms > 0 else say.when(todo.due_ms)
    return f"{due}: {todo.words}"


def next_words(forecast: BroodForecast, say: BroodWords) -> str:
    """The next event the clock expects, or why there is none."""
    for word, leg in (("hatch", forecast.hatch), ("free-swimming", forecast.swimming)):
        if not isinstance(leg, Expected):
            return f"{word}: {leg.why}"
        if not leg.happened:
            if leg.overdue(say.now_ms):
                return f"{word} overdue since {say.when(leg.to_ms)}: look"
            return f"{word} {say.window(leg.from_ms, leg.to_ms)}"
    return ""


def _ended(brood: Brood) -> EndedRow:
    def text(kind: Counted) -> str:
        return brood.counts[kind].text if kind in brood.counts else "–"

    return EndedRow(
        brood=brood,
        tanks=tanks_words(brood),
        eggs=text(Counted.EGGS),
        hatched=text(Counted.HATCHED),
        moved_on=text(Counted.MOVED_ON),
        outcome=OUTCOMES[brood.outcome or Outcome.UNKNOWN],
    )


def brood_new(desk: Desk, request: Request) -> Response:
    """The form that begins a brood, filled from the tank and from its last one."""
    sight = desk.lookout.look()
    wanted = request.query_params.get("tank", sight.room.tanks[0].id if sight.room.tanks else "")
    tank = sight.of(wanted).tank if wanted else None
    earlier = [b for b in desk.broods.broods() if wanted in b.last_tanks]
    last = earlier[-1].plan if earlier else {}
    sheets = sorted(desk.broods.sheets().values(), key=lambda sheet: sheet.latin)
    # what lives in the tank now comes before what its last brood was
    likely = (tank.species if tank else "", earlier[-1].species if earlier else "")
    on, _, off = last.get("light", "").partition("-")
    begun = {name: last.get(name, "") for name in ("parents", "water", "food")}
    return desk.page(
        request,
        "brood_new.html",
        sight,
        tank=tank,
        id=next_number(desk, sight.now_ms),
        species=sheets,
        chosen=next((one for one in likely if one in desk.broods.sheets()), ""),
        stages=tuple(Stage),
        begun=begun | {"light_on": on, "light_off": off},
    )
