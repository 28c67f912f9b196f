"""Live food: start dates counted back from free-swimming, amounts, and what moves with it."""

import pytest
from tests.breeding.rearing import EIGHT, SHEETS, ZONE, Attempt, window

from roewatch.breeding.development import Leg
from roewatch.breeding.forecast import Expected
from roewatch.breeding.livefood import Culture, cultures, grams_a_day, moves
from roewatch.breeding.record import BroodAct
from roewatch.breeding.todo import Task
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.species import Food

F = EIGHT + 5 * DAY_MS
"""The first day of free-swimming: spawning is about F-5 in tetras."""


def swims(at_ms: int, width_h: float = 0) -> Expected:
    return Expected(
        leg=Leg.SWIMMING,
        from_ms=at_ms,
        likely_ms=at_ms + round(width_h / 2 * HOUR_MS),
        to_ms=at_ms + round(width_h * HOUR_MS),
    )


def of(key: str, species: str = "paracheirodon-innesi", fry: int | None = None) -> Culture:
    return {c.key: c for c in cultures(SHEETS[species], swims(F), fry=fry)}[key]


TIMETABLE = [  # key, days from F to start from and by, source: the trade's timetable backwards
    ("artemia-test", -21, -14, "F-14 to F-21: check the cyst lot with a test hatch"),
    ("microworm-first", -14, -7, "begun ten days before they are eaten, from F+3 on"),
    ("protozoa-first", -10, -7, "F-7: start the infusoria bucket (7 days)"),
    ("protozoa-spare", -8, -5, "a second jar two days later as insurance"),
    ("artemia-first", 1, 1.5, "first fed at F+3: start the hatch 24-36 h before"),
    ("artemia-day-2", 2, 2.5, "then one every 24 h, staggered"),
    ("daphnia-first", -7, 0, "F+14: larger food; two weeks from a starter, from memory"),
]


@pytest.mark.parametrize(("key", "first", "last", "source"), TIMETABLE)
def test_a_culture_is_started_on_the_day_of_the_timetable(
    key: str, first: float, last: float, source: str
) -> None:
    culture = of(key)
    assert (culture.start_by_ms - F) / DAY_MS == last, source
    assert (culture.start_from_ms - F) / DAY_MS <= first, source
    assert culture.source


def test_started_at_the_last_moment_a_culture_is_still_ready_for_the_first_meal() -> None:
    for species, sheet in SHEETS.items():
        for culture in cultures(sheet, swims(F)):
            if not culture.key.endswith("-test"):
                assert culture.ready_to_ms <= culture.feed_from_ms, (species, culture.key)
                assert culture.start_from_ms < culture.start_by_ms


def test_500_fry_take_0_30_grams_of_cysts_a_day() -> None:
    # 500 fry x 50 nauplii x 3 meals = 75 000; at 250 000 a gram 0.30 g (feeding rate assumed)
    assert grams_a_day(500) == pytest.approx(0.30)
    assert of("artemia-first", fry=500).grams == 0.30
    assert "0.3 g of cysts for about 500 fry (assumed)" in of("artemia-first", fry=500).words


def test_no_amount_is_invented_before_anybody_counted() -> None:
    assert of("artemia-first").grams is None
    assert of("protozoa-first", fry=500).grams is None


def test_fish_with_large_mouths_need_nauplii_on_the_first_day() -> None:
    first = of("artemia-first", "mikrogeophagus-ramirezi")
    assert first.feed_from_ms == F
    assert (F - first.start_by_ms) / HOUR_MS == 36
    foods = {c.food for c in cultures(SHEETS["mikrogeophagus-ramirezi"], swims(F))}
    assert Food.PROTOZOA not in foods


def test_infusoria_are_renewed_weekly_for_fish_that_need_them_two_weeks() -> None:
    keys = [c.key for c in cultures(SHEETS["boraras-brigittae"], swims(F)) if "proto" in c.key]
    assert keys == ["protozoa-first", "protozoa-spare", "protozoa-again-1"]


def test_a_wider_window_starts_by_its_first_day_and_feeds_to_its_last() -> None:
    (sure,) = [c for c in cultures(SHEETS["danio-rerio"], swims(F)) if c.key == "protozoa-first"]
    (wide,) = [
        c for c in cultures(SHEETS["danio-rerio"], swims(F, 48)) if c.key == "protozoa-first"
    ]
    assert wide.start_by_ms == sure.start_by_ms
    assert wide.feed_until_ms == sure.feed_until_ms + 2 * DAY_MS


def test_when_the_forecast_moves_the_calendar_moves_and_says_so() -> None:
    sheet = SHEETS["paracheirodon-innesi"]
    before, after = cultures(sheet, swims(F)), cultures(sheet, swims(F + 12 * HOUR_MS))
    said = moves(before, after, zone=ZONE, now_ms=EIGHT)
    assert (
        "infusoria: start by Wed 25 Nov 20:00, 12 h later than told before, because the forecast "
        "moved" in said
    )
    assert "infusoria (spare): start by 20:00, 12 h later" in "\n".join(said)
    assert moves(before, before, zone=ZONE, now_ms=EIGHT) == ()


def test_in_cooler_water_every_start_comes_later() -> None:
    attempt = Attempt("paracheirodon-innesi").tell(BroodAct.SPAWNED, 0)
    warm = window(attempt.foreseen(20, 26.0), Leg.SWIMMING)
    cool = window(attempt.foreseen(20, 23.0), Leg.SWIMMING)
    pairs = zip(cultures(attempt.sheet, warm), cultures(attempt.sheet, cool), strict=False)
    assert all(w.start_by_ms < c.start_by_ms for w, c in pairs)


def test_before_the_pair_spawns_cultures_are_counted_back_from_the_next_dawn() -> None:
    attempt = Attempt("paracheirodon-innesi")
    (first,) = [t for t in attempt.todos(-10) if t.key.endswith("protozoa-first")]
    assert "as if they spawned next" in first.words
    assert first.late_ms(EIGHT - 10 * HOUR_MS) > 0  # seven days' culture for young of five days
    assert {t.task for t in attempt.todos(-10)} <= {Task.LOOK, Task.CULTURE}


def test_a_culture_told_as_started_is_asked_for_no_more() -> None:
    attempt = Attempt("paracheirodon-innesi").tell(BroodAct.SPAWNED, 0)
    attempt.tell(BroodAct.CULTURE, 0.5, detail="infusoria")
    attempt.tell(BroodAct.CULTURE, 0.6, detail="microworm-spare")
    keys = {todo.key for todo in attempt.of(Task.CULTURE, 1)}
    assert "2026-14/culture/protozoa-first" not in keys
    assert "2026-14/culture/protozoa-spare" in keys
    assert "2026-14/culture/microworm-spare" not in keys


def test_an_infusoria_bucket_that_comes_too_late_says_what_helps_until_then() -> None:
    attempt = Attempt("paracheirodon-innesi").tell(BroodAct.SPAWNED, 0)
    (first,) = [t for t in attempt.todos(1) if t.key.endswith("protozoa-first")]
    assert first.late_ms(EIGHT + HOUR_MS) > DAY_MS
    assert "seasoned sponge" in first.words


def test_nothing_is_late_from_before_the_brood_was_begun() -> None:
    attempt = Attempt("paracheirodon-innesi").tell(BroodAct.SPAWNED, 0)
    begun_ms = EIGHT - 72 * HOUR_MS
    assert min(todo.due_ms for todo in attempt.of(Task.CULTURE, 1)) == begun_ms


def test_nobody_is_sent_to_a_culture_at_night() -> None:
    attempt = Attempt("paracheirodon-innesi").tell(BroodAct.SPAWNED, 0)
    for todo in attempt.of(Task.CULTURE, 1, 24.3):
        local_hour = (todo.due_ms // HOUR_MS + 2) % 24  # winter: UTC+2
        assert 8 <= local_hour <= 20, todo.key
