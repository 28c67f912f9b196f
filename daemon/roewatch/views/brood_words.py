"""A brood in words: its day, its milestones, its records and counts, as a keeper reads them."""

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from roewatch.breeding.brood import Brood, Stay
from roewatch.breeding.count import Counted
from roewatch.breeding.development import CannotSay
from roewatch.breeding.forecast import BroodForecast, Expected
from roewatch.breeding.livefood import RECIPES
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome
from roewatch.breeding.todo import Task, Todo
from roewatch.room.moment import DAY_MS, iso, moment_of
from roewatch.room.species import Food
from roewatch.views.axis import date_name
from roewatch.views.brood_bar import Bar, Milestone, bar_of
from roewatch.views.pages import Words
from roewatch.views.wording import clock, whole_span

ACTS = {
    BroodAct.SPAWNED: "Eggs seen",
    BroodAct.PARENTS_OUT: "Parents out",
    BroodAct.DARK: "Made dark",
    BroodAct.LIGHT: "Light again",
    BroodAct.HATCHED: "Hatched",
    BroodAct.SWIMMING: "Swimming free",
    BroodAct.FED: "Fed",
    BroodAct.CULTURE: "Culture started",
    BroodAct.MOVED: "Moved to another tank",
    BroodAct.STAGE: "Another stage",
    BroodAct.NOTE: "Note",
}
"""What can be recorded by hand at any time, in the order of a brood."""

COUNTS = {
    Counted.EGGS: "eggs",
    Counted.WHITE: "white eggs",
    Counted.HATCHED: "hatched",
    Counted.SWIMMING: "swimming",
    Counted.DAY_14: "day 14",
    Counted.DAY_30: "day 30",
    Counted.MOVED_ON: "moved on",
}

OUTCOMES = {
    Outcome.REARED: "reared",
    Outcome.LOST: "lost",
    Outcome.GIVEN_UP: "given up",
    Outcome.UNKNOWN: "unknown",
}

PLAN = {
    "parents": "parents",
    "water": "water",
    "food": "food",
    "light": "light",
    "tanks": "tanks",
    "plan": "plan",
    "stage": "stage at the start",
}
"""What a brood was begun with, by the names of its plan."""

_SOON_MS = DAY_MS
_BEFORE = {BroodAct.STARTED: "begun", BroodAct.DONE: "ticked", BroodAct.ENDED: "ended"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """One button that records something with its usual values."""

    act: BroodAct
    label: str
    detail: str = ""
    who: str = ""


_TASKS = {
    Task.CULTURE: BroodAct.CULTURE,
    Task.PARENTS_OUT: BroodAct.PARENTS_OUT,
    Task.DARK: BroodAct.DARK,
    Task.LIGHT: BroodAct.LIGHT,
    Task.HATCH: BroodAct.HATCHED,
    Task.SWIMMING: BroodAct.SWIMMING,
}


def tap_of(todo: Todo) -> Tap | None:
    """What is recorded when a to-do is done, where that says more than a tick; else None."""
    act = _TASKS.get(todo.task)
    if act is None:
        return None
    detail = "/".join(todo.key.split("/")[2:])
    if act is BroodAct.PARENTS_OUT:
        label = f"{detail.capitalize()} out" if detail else ACTS[act]
        return Tap(act=act, label=label, who=detail or "pair")
    return Tap(act=act, label=ACTS[act], detail=detail if act is BroodAct.CULTURE else "")


class BroodWords(Words):
    """Times as a brood's pages need them, beyond what every page says."""

    def __init__(self, now_ms: int, zone: ZoneInfo) -> None:
        super().__init__(now_ms, zone)
        self.now_ms = now_ms
        self.zone = zone

    def iso(self, at_ms: int) -> str:
        """ISO 8601 UTC, for programs."""
        return iso(at_ms)

    def span(self, span_ms: int) -> str:
        """`3 h 10 min`."""
        return whole_span(span_ms)

    def wall(self, at_ms: int) -> str:
        """The room's wall clock as a form's own time field writes it: `2026-11-06T21:40`."""
        return f"{moment_of(at_ms).astimezone(self.zone):%Y-%m-%dT%H:%M}"

    def window(self, from_ms: int, to_ms: int) -> str:
        """`Sun 8, 06:00 to 11:00`, or both with their days."""
        first, last = self.when(from_ms), self.when(to_ms)
        day, _, hour = last.rpartition(", ")
        same = bool(day) and first.startswith(f"{day}, ")
        return f"{first} to {hour if same else last}"

    def tap_of(self, todo: Todo) -> Tap | None:
        """What is recorded when a to-do is done, where that says more than a tick."""
        return tap_of(todo)


class PaperWords(BroodWords):
    """Times as paper needs them: always with their day, for paper does not know today."""

    def when(self, at_ms: int) -> str:
        """`6 Nov, 21:40`."""
        day = moment_of(at_ms).astimezone(self.zone).date()
        return f"{date_name(day)}, {clock(at_ms, self.zone)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One milestone in words. why: on what it stands. times: soonest, likely, latest, if known."""

    letter: str
    word: str
    when: str
    why: str
    times: tuple[str, ...] = ()


def milestones(brood: Brood, forecast: BroodForecast) -> tuple[Milestone, ...]:
    """What happened and what is expected with a window, in order."""
    found = []
    if brood.spawned_ms is not None:
        found.append(_happened("S", "spawned", brood.spawned_ms))
    for letter, word, leg in (("H", "hatch", forecast.hatch), ("≈", "swims", forecast.swimming)):
        if isinstance(leg, Expected) and (leg.happened or brood.ended_ms is None):
            found.append(
                Milestone(
                    letter=letter,
                    word=word,
                    from_ms=leg.from_ms,
                    likely_ms=leg.likely_ms,
                    to_ms=leg.to_ms,
                    happened=leg.happened,
                )
            )
    return tuple(found)


def _happened(letter: str, word: str, at_ms: int) -> Milestone:
    return Milestone(
        letter=letter, word=word, from_ms=at_ms, likely_ms=at_ms, to_ms=at_ms, happened=True
    )


def bar_for(brood: Brood, forecast: BroodForecast, now_ms: int) -> Bar:
    """The bar of a brood."""
    begun = brood.started_ms if brood.started_ms is not None else now_ms - DAY_MS
    return bar_of(
        milestones(brood, forecast), started_ms=begun, now_ms=now_ms, ended_ms=brood.ended_ms
    )


def lines(brood: Brood, forecast: BroodForecast, say: BroodWords) -> list[Line]:
    """The milestones in words; what cannot be told says why."""
    found = []
    if brood.spawned_ms is not None:
        found.append(Line(letter="S", word="spawned", when=say.when(brood.spawned_ms), why=""))
    for letter, was, will, leg in (
        ("H", "hatched", "hatch", forecast.hatch),
        ("≈", "swam free", "free-swimming", forecast.swimming),
    ):
        if brood.ended_ms is not None and not (isinstance(leg, Expected) and leg.happened):
            continue
        found.append(_line(letter, was, will, leg, say))
    return found


def _line(letter: str, was: str, will: str, leg: Expected | CannotSay, say: BroodWords) -> Line:
    if isinstance(leg, CannotSay):
        return Line(letter=letter, word=will, when="", why=leg.why)
    if leg.happened:
        happened = (iso(leg.likely_ms),) * 3
        return Line(letter=letter, word=was, when=say.when(leg.likely_ms), why="", times=happened)
    when = f"{say.window(leg.from_ms, leg.to_ms)}, likely about {say.when(leg.likely_ms)}"
    if leg.overdue(say.now_ms):
        when = f"overdue since {say.when(leg.to_ms)}; look, and record what you see"
    times = tuple(iso(at_ms) for at_ms in (leg.from_ms, leg.likely_ms, leg.to_ms))
    return Line(letter=letter, word=will, when=when, why=f"{leg.why} ({leg.basis})", times=times)


def sorted_out(todos: Iterable[Todo], now_ms: int) -> tuple[list[Todo], list[Todo]]:
    """To-dos for today, and those for later: what can wait is not in the way of what cannot."""
    near: list[Todo] = []
    later: list[Todo] = []
    for todo in todos:
        soon = todo.from_ms <= now_ms if todo.flag else todo.due_ms <= now_ms + _SOON_MS
        (near if soon else later).append(todo)
    return near, later


def day_words(brood: Brood, now_ms: int) -> str:
    """`eggs, 17 h old`, `day 9`: how old it is, counted from what it has reached."""
    until = brood.ended_ms if brood.ended_ms is not None else now_ms
    if brood.ended_ms is not None:
        return OUTCOMES[brood.outcome or Outcome.UNKNOWN]
    if brood.swimming_ms is not None:
        return f"day {(until - brood.swimming_ms) // DAY_MS + 1} of swimming"
    if brood.hatched_ms is not None:
        return f"larvae, {whole_span(until - brood.hatched_ms)} old"
    if brood.spawned_ms is not None:
        return f"eggs, {whole_span(until - brood.spawned_ms)} old"
    if brood.started_ms is not None:
        return f"{brood.stage or 'before spawning'}, day {(until - brood.started_ms) // DAY_MS + 1}"
    return "not begun"


def stay_words(stay: Stay, say: BroodWords) -> str:
    """`since Fri 6, 21:40`, or from when until when."""
    if stay.to_ms is None:
        return f"since {say.when(stay.from_ms)}"
    return f"{say.when(stay.from_ms)} to {say.when(stay.to_ms)}"


def record_words(record: BroodRecord) -> str:
    """A record in words: `eggs seen, about 60`, `counted: hatched 50-70`."""
    name = ACTS.get(record.act, _BEFORE.get(record.act, record.act.value)).lower()
    parts = []
    if record.act is BroodAct.COUNTED and record.counted and record.count:
        name = f"counted: {COUNTS[record.counted]} {record.count.text}"
    elif record.count is not None:
        parts.append(record.count.text)
    if record.act is BroodAct.PARENTS_OUT and record.fields.get("who") in {"female", "male"}:
        name = f"{record.fields['who']} out"
    if record.act is BroodAct.ENDED:
        parts.append(record.fields.get("outcome", "unknown").replace("-", " "))
    if record.detail:
        parts.append(_DETAILS.get(record.act, str)(record.detail))
    return ", ".join([name, *parts])


def task_words(key: str) -> str:
    """A to-do's key as words: `2026-14/culture/artemia-first` reads `culture, artemia first`."""
    _, _, rest = key.partition("/")
    return (rest or key).replace("/", ", ").replace("-", " ")


def culture_words(key: str) -> str:
    """A culture's key as words: `protozoa-first` reads `infusoria, first`."""
    food, _, which = key.partition("-")
    named = RECIPES[Food(food)].named if food in set(Food) else food
    return ", ".join(part for part in (named, which.replace("-", " ")) if part)


_DETAILS = {BroodAct.DONE: task_words, BroodAct.CULTURE: culture_words}


def tanks_words(brood: Brood) -> str:
    """The tanks it is in, or was in to the end."""
    return ", ".join(brood.last_tanks) or "no tank"


def ended_words(brood: Brood) -> str:
    """What became of it, in a sentence."""
    if brood.ended_ms is None:
        return ""
    outcome = OUTCOMES[brood.outcome or Outcome.UNKNOWN]
    if not brood.lost_to:
        return f"{outcome}."
    return (
        f"{outcome} to {brood.lost_to}."
        if brood.outcome is Outcome.LOST
        else (f"{outcome}, {brood.lost_to}.")
    )
