"""The page of one brood: its bar, what to do, what to record, counts, food, and its records."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from roewatch.breeding.brood import STAGE_OF, Brood
from roewatch.breeding.livefood import RECIPES, Culture
from roewatch.breeding.record import BroodAct, Outcome
from roewatch.room.moment import DAY_MS
from roewatch.views.brood_bar import bar_svg
from roewatch.views.brood_counts import count_rows, first_counts, rate_words
from roewatch.views.brood_form import brood_here
from roewatch.views.brood_history import history
from roewatch.views.brood_ports import BroodOutlook, Proposal
from roewatch.views.brood_words import (
    ACTS,
    OUTCOMES,
    PLAN,
    BroodWords,
    Tap,
    bar_for,
    day_words,
    ended_words,
    lines,
    sorted_out,
    stay_words,
)
from roewatch.views.pages import Desk


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
    near, later = sorted_out(outlook.todos, sight.now_ms)
    first = first_counts(brood, request.query_params)
    foods = food_lines(outlook.cultures, brood, say)
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
        near=near,
        later=later,
        mean=mean_now(outlook, brood),
        taps=taps(brood),
        all_acts=[*ACTS.items()],
        counts=count_rows(brood, request.query_params),
        first_counts=first,
        rates=rate_words(brood),
        foods=foods,
        more_foods=", ".join(dict.fromkeys(line.name.partition(",")[0] for line in foods[3:])),
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


def mean_now(outlook: BroodOutlook, brood: Brood) -> float | None:
    """°C of the water since spawning, on the mean, while that matters; None without readings."""
    if brood.spawned_ms is None or brood.ended_ms is not None:
        return None
    return outlook.mean_celsius


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
        return Tap(act=act, label="Enter the stage", detail=proposal.stage)
    return Tap(act=act, label=ACTS[act])


def food_lines(cultures: Sequence[Culture], brood: Brood, say: BroodWords) -> list[FoodLine]:
    """The cultures that are still of use; hatches that follow day by day are one line."""
    begun = {r.detail for r in brood.records if r.act is BroodAct.CULTURE}
    found: list[FoodLine] = []
    daily: list[Culture] = []
    for culture in cultures:
        if culture.feed_until_ms < say.now_ms:
            continue
        if "-day-" in culture.key and culture.key not in begun:
            daily.append(culture)
        else:
            found.append(_food_line(culture, culture.key in begun, say))
    if daily:
        first, last = daily[0], daily[-1]
        line = _food_line(first, False, say)
        found.append(
            replace(
                line,
                name=f"{line.name}, then one a day",
                feed=say.window(first.feed_from_ms, last.feed_until_ms),
            )
        )
    return found


def culture_name(culture: Culture) -> str:
    """`infusoria`, and what sets it apart from the first: a spare, renewed, a test."""
    which = {"spare": ", spare", "again": ", renewed", "test": ", test of the cysts"}
    word = culture.key.partition("-")[2].partition("-")[0]
    return RECIPES[culture.food].named + which.get(word, "")


def _food_line(culture: Culture, begun: bool, say: BroodWords) -> FoodLine:
    late = not begun and culture.start_by_ms < say.now_ms
    start = "started" if begun else f"by {say.when(culture.start_by_ms)}"
    return FoodLine(
        name=culture_name(culture),
        amount=f"{culture.grams:g} g of cysts" if culture.grams else "",
        start=f"{start}, late" if late else start,
        harvest=say.window(culture.ready_from_ms, culture.ready_to_ms),
        feed=say.window(culture.feed_from_ms, culture.feed_until_ms)
        if culture.feed_from_ms < culture.feed_until_ms
        else "never: it is a test",
        late=late,
    )


def facts(brood: Brood, desk: Desk) -> list[tuple[str, str]]:
    """What the brood was begun with."""
    sheet = desk.broods.sheets().get(brood.species)
    found = [("species", sheet.latin)] if sheet else []
    found += [(PLAN.get(name, name), text) for name, text in brood.plan.items() if text]
    return found or [("", "Nothing was told at the start.")]
