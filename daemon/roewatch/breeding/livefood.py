"""Live food: when each culture must be started so that it is ready when the young swim."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from roewatch.breeding.caution import BRINE
from roewatch.breeding.forecast import Expected
from roewatch.room.local_time import local_clock
from roewatch.room.measured import CELSIUS, litres, measured, temperature
from roewatch.room.moment import DAY_MS, HOUR_MS, span_text
from roewatch.room.species import Food, FoodSpan, SpeciesSheet

NAUPLII_PER_GRAM = 250_000
"""Middle of 200 000-300 000 a gram of good cysts. Source: SRAC Publication 702, 2000."""

NAUPLII_A_MEAL, MEALS = 50, 3
"""What one larva is given (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How long a culture takes: hours from its start until it feeds, at the least and the most.

    lead_h: hours before it is needed that it is started. spare_h: how long after the first the
    spare is. keeps_h: how long it goes on feeding.
    """

    food: Food
    named: str
    least_h: float
    most_h: float
    lead_h: float
    spare_h: float
    keeps_h: float
    how: str
    source: str
    caution: str = ""


RECIPES = {
    Food.PROTOZOA: Recipe(
        food=Food.PROTOZOA,
        named="infusoria",
        least_h=72,
        most_h=168,
        lead_h=168,
        spare_h=48,
        keeps_h=168,
        how="aged water and lettuce or hay in the light; or split a jar of Paramecium",
        source=f"3-4 days to bloom, about 7 in a bucket of {litres(20)}, restart weekly: infusoria "
        "page, n.y.; Beginner's guide to breeding tetra, 2008; a second jar two days later: common "
        "practice",
    ),
    Food.ARTEMIA: Recipe(
        food=Food.ARTEMIA,
        named="Artemia",
        least_h=24,
        most_h=36,
        lead_h=36,
        spare_h=24,
        keeps_h=24,
        how=f"cysts in aerated salt water at {measured('25-28', CELSIUS)}, lit at least at "
        "the start, 5 g/L of cysts at most (`roewatch water brine` reckons the jar); harvest when "
        "the shells are empty and feed at once, a little at a time: in fresh water they die "
        "within hours",
        source=f"18-24 h at {measured('28-30', CELSIUS)}, up to 36 h at {temperature(21, 'g')}: "
        "Artemia hatching sheets, n.y.; cysts and light: Freshwater Prawn Culture, 2000; one "
        "hatch every 24 h: common practice",
        caution=BRINE,
    ),
    Food.MICROWORM: Recipe(
        food=Food.MICROWORM,
        named="microworms",
        least_h=72,
        most_h=168,
        lead_h=240,
        spare_h=72,
        keeps_h=14 * 24,
        how=f"a spoon of an old culture on fresh oat mash at {measured('24-27', CELSIUS)}; renew "
        "every 2-4 weeks",
        source="3-7 days from a starter, renewed every 2-4 weeks: common practice; "
        f"{measured('24-27', CELSIUS)}: club care sheet, n.y.; begun ten days ahead to leave "
        "room for a second try: common practice",
    ),
    Food.DAPHNIA: Recipe(
        food=Food.DAPHNIA,
        named="daphnia",
        least_h=7 * 24,
        most_h=14 * 24,
        lead_h=14 * 24,
        spare_h=72,
        keeps_h=14 * 24,
        how="a tub of aged water, fed until slightly green; sift out the small ones",
        source="one to two weeks from a starter: from memory, not looked up",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Culture:
    """One culture to start. key: stable within the brood, whatever the forecast does.

    start_by_ms: started then, it is ready in time even if it takes longest and they swim soonest;
    start_from_ms: started sooner, it may have faded. ready_from_ms, ready_to_ms: when the harvest
    can begin, at the soonest and the latest, if started at start_by_ms. feed_from_ms,
    feed_until_ms: when it is fed. grams: of cysts, None where no amount is known.
    """

    key: str
    food: Food
    spare: bool
    start_from_ms: int
    start_by_ms: int
    ready_from_ms: int
    ready_to_ms: int
    feed_from_ms: int
    feed_until_ms: int
    grams: float | None
    words: str
    caution: str
    source: str


def cultures(
    sheet: SpeciesSheet, swimming: Expected, *, fry: int | None = None
) -> tuple[Culture, ...]:
    """Every culture this brood needs, in order of their start, counted back from `swimming`.

    fry: how many mouths, where they were counted. Empty when the sheet names no live food.
    """
    found = [culture for span in sheet.foods for culture in _of_span(span, swimming, fry)]
    return tuple(sorted(found, key=lambda culture: (culture.start_by_ms, culture.key)))


def grams_a_day(fry: int) -> float:
    """Grams of cysts a day for so many fry (feeding rate assumed)."""
    return fry * NAUPLII_A_MEAL * MEALS / NAUPLII_PER_GRAM


def _of_span(span: FoodSpan, swimming: Expected, fry: int | None) -> Iterator[Culture]:
    recipe = RECIPES[span.what]
    feed_ms = swimming.from_ms + round(span.from_d * DAY_MS)
    until_ms = swimming.to_ms + round(span.to_d * DAY_MS)
    if span.what is Food.ARTEMIA:
        yield _test_hatch(recipe, swimming, feed_ms)
        # a hatch a day: it feeds one day, so the calendar has one line for each
        for day in range(max(round((until_ms - feed_ms) / DAY_MS), 1)):
            name = "first" if day == 0 else f"day-{day + 1}"
            first_ms = feed_ms + day * DAY_MS
            yield _culture(recipe, name, first_ms, first_ms + DAY_MS, fry)
        return
    yield _culture(recipe, "first", feed_ms, until_ms)
    yield _culture(recipe, "spare", feed_ms + round(recipe.spare_h * HOUR_MS), until_ms)
    keeps_ms = round(recipe.keeps_h * HOUR_MS)
    for again in range(1, -(-(until_ms - feed_ms) // keeps_ms)):
        yield _culture(recipe, f"again-{again}", feed_ms + again * keeps_ms, until_ms)


def _test_hatch(recipe: Recipe, swimming: Expected, feed_ms: int) -> Culture:
    """A small hatch ahead of time: a bad lot of cysts is found while there is time for another."""
    return Culture(
        key=f"{recipe.food}-test",
        food=recipe.food,
        spare=False,
        start_from_ms=swimming.from_ms - 21 * DAY_MS,
        start_by_ms=min(swimming.from_ms - 14 * DAY_MS, feed_ms - 3 * DAY_MS),
        ready_from_ms=swimming.from_ms - 13 * DAY_MS,
        ready_to_ms=swimming.from_ms - 12 * DAY_MS,
        feed_from_ms=feed_ms,
        feed_until_ms=feed_ms - round(recipe.lead_h * HOUR_MS),
        grams=None,
        words="Test the cysts: hatch a pinch of the lot and see that it does.",
        caution=recipe.caution,
        source="Two to three weeks ahead: common practice.",
    )


def _culture(
    recipe: Recipe,
    name: str,
    feed_ms: int,
    until_ms: int,
    fry: int | None = None,
) -> Culture:
    start_by = feed_ms - round(recipe.lead_h * HOUR_MS)
    lasts_h = max(recipe.least_h + recipe.keeps_h, recipe.lead_h)
    grams = round(grams_a_day(fry), 2) if fry and recipe.food is Food.ARTEMIA else None
    spare = name == "spare"
    begin = "Renew" if name.startswith("again") else "Start"
    which = f"{begin} {'a spare jar of ' if spare else ''}{recipe.named}"
    amount = f", {grams:g} g of cysts for about {fry} fry (assumed)" if grams else ""
    return Culture(
        key=f"{recipe.food}-{name}",
        food=recipe.food,
        spare=spare,
        start_from_ms=feed_ms - round(lasts_h * HOUR_MS),
        start_by_ms=start_by,
        ready_from_ms=start_by + round(recipe.least_h * HOUR_MS),
        ready_to_ms=start_by + round(recipe.most_h * HOUR_MS),
        feed_from_ms=feed_ms,
        feed_until_ms=max(until_ms, feed_ms + DAY_MS),
        grams=grams,
        words=f"{which}{amount}: {recipe.how}." if name == "first" else f"{which}{amount}.",
        caution=recipe.caution,
        source=recipe.source,
    )


def moves(
    before: Iterable[Culture], after: Iterable[Culture], *, zone: str, now_ms: int
) -> tuple[str, ...]:
    """What to tell when the calendar moved with the forecast: one line a culture that moved 1 h."""
    old = {culture.key: culture for culture in before}
    said = []
    for culture in after:
        earlier = old.get(culture.key)
        if earlier is None or abs(culture.start_by_ms - earlier.start_by_ms) < HOUR_MS:
            continue
        moved = culture.start_by_ms - earlier.start_by_ms
        said.append(
            f"{RECIPES[culture.food].named}{' (spare)' if culture.spare else ''}: start by "
            f"{local_clock(culture.start_by_ms, zone, now_ms)}, {span_text(moved)} "
            f"{'later' if moved > 0 else 'sooner'} than told before, because the forecast moved"
        )
    return tuple(said)
