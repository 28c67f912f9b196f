"""The page of one brood: its bar, what to do, what to record, counts, food, and its records."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from roewatch.breeding.brood import STAGE_OF, Brood
from roewatch.breeding.count import Counted
from roewatch.breeding.livefood import RECIPES, Culture
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.views.brood_act import PLANNED, UNDO_MS, brood_here
from roewatch.views.brood_bar import bar_svg
from roewatch.views.brood_ports import BroodOutlook, Proposal
from roewatch.views.brood_words import (
    ACTS,
    COUNTS,
    OUTCOMES,
    BroodWords,
    bar_for,
    day_words,
    lines,
    record_words,
    stay_words,
)
from roewatch.views.pages import Desk

_LATER_MS = 3 * DAY_MS
"""What is due further ahead than this is left to the calendar, unless little else is due."""

_LEAST_TODOS = 3
_PLAN = {
    "parents": "parents",
    "water": "water",
    "food": "food",
    "light": "light",
    "tanks": "tanks",
    "plan": "plan",
    "stage": "stage at the start",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """One button that records something with its usual values."""

    act: BroodAct
    label: str
    detail: str = ""
    tank: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountRow:
    """One kind of count: what stands, and what its box is filled with."""

    counted: Counted
    name: str
    text: str
    shown: str
    to: str
    about: bool
    step: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """One record as the list shows it. before: what it said earlier. count: to be corrected."""

    id: str
    at_ms: int
    words: str
    tank: str
    made: str
    before: tuple[str, ...]
    undo: bool
    correct: bool
    withdrawn: bool
    wall: str
    detail: str
    count: str | None
    plan: tuple[tuple[str, str, str], ...] = ()
    outcome: str = ""
    ticked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodLine:
    """One culture in words."""

    name: str
    amount: str
    start: str
    harvest: str
    feed: str
    late: bool


def brood_page(desk: Desk, request: Request) -> Response:
    """The page of one brood. Raises NotHereError for one nobody started."""
    brood = brood_here(desk, request.path_params["brood"])
    sight = desk.lookout.look()
    say = BroodWords(sight.now_ms, ZoneInfo(sight.room.zone))
    outlook = desk.broods.outlook(brood, sight.now_ms)
    bar = bar_svg(
        bar_for(brood, outlook.forecast, sight.now_ms),
        title=f"Brood {brood.id}: {day_words(brood, sight.now_ms)}",
    )
    began = brood.spawned_ms or brood.started_ms or sight.now_ms
    return desk.page(
        request,
        "brood.html",
        sight,
        say=say,
        brood=brood,
        parents=brood.parents,
        tanks=[{"tank": stay.tank, "words": stay_words(stay, say)} for stay in brood.tanks],
        tank_now=brood.tank,
        day_words=day_words(brood, sight.now_ms),
        bar=Markup(bar),  # noqa: S704 our own drawing, every text in it escaped
        lines=lines(brood, outlook.forecast, say),
        proposal=outlook.proposal,
        proposed_tap=_proposed(outlook.proposal),
        moved=outlook.moved,
        todos=soon(outlook, sight.now_ms),
        taps=taps(brood),
        all_acts=[*ACTS.items()],
        counts=count_rows(brood, request.query_params),
        rates=rate_words(brood),
        foods=food_lines(outlook.cultures, brood, say),
        food_note=(
            "Counted back from the day the young swim; when the forecast moves, so do these days. "
            "Amounts are assumed."
        ),
        span=f"{min(max((sight.now_ms - began) // DAY_MS + 1, 1), 60)}d",
        outcomes=[(outcome.value, OUTCOMES[outcome]) for outcome in Outcome],
        ended_words=ended_words(brood),
        facts=facts(brood, desk),
        history=history(brood, sight.now_ms, say),
    )


def soon(outlook: BroodOutlook, now_ms: int) -> list[object]:
    """The to-dos a person can think of now: the next three days, or the next few."""
    near = [todo for todo in outlook.todos if todo.due_ms <= now_ms + _LATER_MS]
    return list(near if len(near) >= _LEAST_TODOS else outlook.todos[:_LEAST_TODOS])


def taps(brood: Brood) -> list[Tap]:
    """What is likely to be recorded next, in the order of a brood."""
    likely: list[BroodAct] = []
    if brood.spawned_ms is None:
        likely += [BroodAct.SPAWNED]
    else:
        likely += [] if brood.parents_out_ms is not None else [BroodAct.PARENTS_OUT]
        if brood.swimming_ms is None:
            likely += [BroodAct.LIGHT if brood.is_dark else BroodAct.DARK]
            likely += [BroodAct.HATCHED] if brood.hatched_ms is None else []
            likely += [BroodAct.SWIMMING] if brood.hatched_ms is not None else []
    likely += [BroodAct.FED]
    return [Tap(act=act, label=ACTS[act]) for act in likely]


def _proposed(proposal: Proposal | None) -> Tap | None:
    if proposal is None:
        return None
    act = next((a for a, stage in STAGE_OF.items() if stage is proposal.stage), BroodAct.STAGE)
    if act is BroodAct.STAGE:
        return Tap(act=act, label="Enter the stage", detail=proposal.stage, tank=proposal.tank)
    return Tap(act=act, label=ACTS[act], tank=proposal.tank)


def count_rows(brood: Brood, query: Mapping[str, str]) -> list[CountRow]:
    """Every kind of count; the one the address speaks of has its box filled from there."""
    return [_count_row(kind, brood, query) for kind in Counted]


def _count_row(kind: Counted, brood: Brood, query: Mapping[str, str]) -> CountRow:
    count = brood.counts.get(kind)
    shown = "" if count is None or kind is Counted.WHITE else str(count.low)
    to = str(count.high) if shown and count is not None and count.high > count.low else ""
    about = bool(shown) and count is not None and count.about
    if query.get("count") == kind and query.get("value", "").isdecimal():
        shown, to, about = query["value"][:9], query.get("to", "")[:9], "about" in query
    if not shown and kind is not Counted.WHITE:
        shown = _guess(kind, brood)
    size = int(shown) if shown.isascii() and shown.isdigit() else 0
    return CountRow(
        counted=kind,
        name=COUNTS[kind],
        text=count.text if count is not None else "",
        shown=shown,
        to=to,
        about=about,
        step=1 if size < 30 else 5 if size < 200 else 10,
    )


def _guess(kind: Counted, brood: Brood) -> str:
    """A number to step from: what was counted before."""
    order: list[Counted] = [k for k in Counted if k is not Counted.WHITE]
    earlier = [brood.counts[k].low for k in order[: order.index(kind)] if k in brood.counts]
    return str(earlier[-1]) if earlier else ""


def rate_words(brood: Brood) -> str:
    """What the counts say of hatch and survival; a range stays a range."""
    parts = []
    for name, part, whole in (
        ("hatched of eggs", Counted.HATCHED, Counted.EGGS),
        ("day 30 of hatched", Counted.DAY_30, Counted.HATCHED),
        ("moved on of eggs", Counted.MOVED_ON, Counted.EGGS),
    ):
        a, b = brood.counts.get(part), brood.counts.get(whole)
        if a is None or b is None or b.low == 0:
            continue
        low, high = 100 * a.low / b.high, min(100 * a.high / b.low, 100.0)
        text = f"{low:.0f} %" if round(low) == round(high) else f"{low:.0f} to {high:.0f} %"
        parts.append(f"{name} {text}")
    return f"{'; '.join(parts)}." if parts else ""


def food_lines(cultures: Sequence[Culture], brood: Brood, say: BroodWords) -> list[FoodLine]:
    """The cultures that are still to be started or still feed; a daily hatch is one line a day."""
    found = []
    for culture in cultures:
        started = any(key.endswith(culture.key) for key in brood.done)
        if culture.feed_until_ms < say.now_ms:
            continue
        recipe = RECIPES[culture.food]
        late = not started and culture.start_by_ms < say.now_ms
        start = "started" if started else f"by {say.when(culture.start_by_ms)}"
        found.append(
            FoodLine(
                name=f"{recipe.named}{', spare' if culture.spare else ''}",
                amount=f"{culture.grams:g} g of cysts" if culture.grams else "",
                start=f"{start}: late" if late else start,
                harvest=say.window(culture.ready_from_ms, culture.ready_to_ms),
                feed=say.window(culture.feed_from_ms, culture.feed_until_ms),
                late=late,
            )
        )
    return found[:12]


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


def facts(brood: Brood, desk: Desk) -> list[tuple[str, str]]:
    """What the brood was begun with."""
    sheet = desk.broods.sheets().get(brood.species)
    found = [("species", sheet.latin)] if sheet else []
    found += [(_PLAN.get(name, name), text) for name, text in brood.plan.items() if text]
    return found or [("", "Nothing was told at the start.")]


def history(brood: Brood, now_ms: int, say: BroodWords) -> list[HistoryLine]:
    """Every record, the newest first; what was corrected or withdrawn stays visible."""
    found = [_line(record, brood, now_ms, say) for record in brood.records]
    found += [
        _withdrawn(one.record, one.by, say)
        for one in brood.superseded
        if one.by is not None and one.by.act is BroodAct.WITHDRAWN
    ]
    return sorted(found, key=lambda line: line.at_ms, reverse=True)


def _line(record: BroodRecord, brood: Brood, now_ms: int, say: BroodWords) -> HistoryLine:
    return HistoryLine(
        id=record.id,
        at_ms=record.at_ms,
        words=record_words(record),
        tank=record.tank,
        made=_made(record, say),
        before=_before(record, brood, say),
        undo=0 <= now_ms - record.made_ms < UNDO_MS,
        correct=True,
        withdrawn=False,
        wall=say.wall(record.at_ms),
        detail=record.detail,
        count=record.count.text if record.count is not None else None,
        plan=tuple((n, _PLAN[n], record.fields.get(n, "")) for n in PLANNED)
        if record.act is BroodAct.STARTED
        else (),
        outcome=record.fields.get("outcome", "") if record.act is BroodAct.ENDED else "",
        ticked=record.act is BroodAct.DONE,
    )


def _withdrawn(record: BroodRecord, taken: BroodRecord, say: BroodWords) -> HistoryLine:
    return HistoryLine(
        id=taken.id,
        at_ms=record.at_ms,
        words=f"{record_words(record)}: taken back",
        tank=record.tank,
        made=f"taken back {say.when(taken.made_ms)}{_by(taken)}",
        before=(),
        undo=True,
        correct=False,
        withdrawn=True,
        wall="",
        detail="",
        count=None,
    )


def _made(record: BroodRecord, say: BroodWords) -> str:
    """When and by whom it was written down, where that is not when it happened."""
    if record.replaces:
        return f"corrected {say.when(record.made_ms)}{_by(record)}"
    late = record.made_ms - record.at_ms > MINUTE_MS
    if late:
        return f"written down {say.when(record.made_ms)}{_by(record)}"
    return _by(record).strip()


def _by(record: BroodRecord) -> str:
    return f" by {record.by}" if record.by else ""


def _before(record: BroodRecord, brood: Brood, say: BroodWords) -> tuple[str, ...]:
    """What a corrected record said earlier, the oldest last."""
    known = {s.record.id: s.record for s in brood.superseded}
    found: list[str] = []
    while record.replaces in known and len(found) < 20:
        record = known[record.replaces]
        found.append(f"{say.when(record.at_ms)} {record_words(record)}")
    return tuple(found)
