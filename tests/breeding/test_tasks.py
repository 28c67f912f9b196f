"""To-dos of a brood: what, when, how late, and when no longer."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.breeding.rearing import EIGHT, ZONE, Attempt, after, window

from roewatch.breeding.count import Counted
from roewatch.breeding.development import Leg
from roewatch.breeding.light import light_hours
from roewatch.breeding.record import BroodAct
from roewatch.breeding.todo import Task
from roewatch.room.local_time import at_local, local_clock, local_date
from roewatch.room.moment import DAY_MS, HOUR_MS, at_ms_of_iso, iso

NEON, RAM, DWARF, APISTO, DANIO = (
    "paracheirodon-innesi",
    "mikrogeophagus-ramirezi",
    "trichopsis-pumila",
    "apistogramma-cacatuoides",
    "danio-rerio",
)


def spawned(species: str) -> Attempt:
    return Attempt(species).tell(BroodAct.SPAWNED, 0)


# looking


def test_a_pair_is_looked_at_in_the_first_hours_of_light() -> None:
    # zebrafish spawn for 2-3 h from lights-on, laboratory protocol
    (look,) = Attempt(DANIO).of(Task.LOOK, -2)
    assert [iso(t) for t in (look.from_ms, look.due_ms, look.to_ms)] == [
        "2026-11-27T05:00:00Z",
        "2026-11-27T06:00:00Z",
        "2026-11-27T08:00:00Z",
    ]
    assert look.key == "2026-14/look-now/2026-11-27"


def test_a_missed_look_is_not_late_for_ever_but_comes_again_next_morning() -> None:
    (look,) = Attempt(DANIO).of(Task.LOOK, 3)
    assert look.key == "2026-14/look-now/2026-11-28"
    assert look.late_ms(EIGHT + 3 * HOUR_MS) == 0


def test_a_fish_that_spawns_at_dusk_too_is_looked_at_twice() -> None:
    keys = [look.key for look in Attempt(NEON).of(Task.LOOK, -2)]
    assert keys == ["2026-14/look-now/2026-11-27", "2026-14/look-now/2026-11-27-dusk"]


def test_nobody_is_sent_to_look_without_light_hours_nor_while_conditioning() -> None:
    assert Attempt(DANIO, light="").of(Task.LOOK, -2) == []
    assert Attempt(DANIO, stage="conditioning").of(Task.LOOK, -2) == []
    assert spawned(DANIO).of(Task.LOOK, 1) == []


def test_light_hours_nobody_can_read_are_asked_for_and_stop_nothing_else() -> None:
    (look,) = Attempt(DANIO, light="all day").of(Task.LOOK, -2)
    assert "'all day' are none" in look.words
    assert Attempt(DANIO, light="all day").of(Task.CULTURE, -2)


@pytest.mark.parametrize(
    ("now", "dawn"),
    [
        ("2026-03-28T12:00:00Z", "2026-03-29T04:00:00Z"),  # clocks go forward that night: UTC+3
        ("2026-10-24T12:00:00Z", "2026-10-25T05:00:00Z"),  # and back: UTC+2
    ],
)
def test_dawn_follows_the_clock_on_the_wall_through_both_changes(now: str, dawn: str) -> None:
    hours = light_hours("07:00-21:00")
    assert hours is not None
    dawns = [moment for _, moment in hours.dawns(at_ms_of_iso(now), 3, ZONE)]
    assert iso(dawns[1]) == dawn
    assert dawns[1] - dawns[0] in {23 * HOUR_MS, 25 * HOUR_MS}


def test_a_clock_time_the_change_skips_comes_an_hour_later() -> None:
    hours = light_hours("03:30-21:00")
    assert hours is not None
    day = local_date(at_ms_of_iso("2026-03-29T12:00:00Z"), ZONE)
    assert iso(at_local(day, hours.on, ZONE)) == "2026-03-29T01:30:00Z"  # 04:30 on the wall


def test_light_that_goes_off_past_midnight_does_so_the_next_day() -> None:
    hours = light_hours("14:00-02:00")
    assert hours is not None
    (dusk,) = [moment for _, moment in hours.dusks(EIGHT, 1, ZONE)]
    assert iso(dusk) == "2026-11-28T00:00:00Z"


@pytest.mark.parametrize("text", ["7", "25:00-26:00", "07:00", "07:00-07:00", "7-21"])
def test_light_hours_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"07:00-21:00|00:00 to 23:59"):
        light_hours(text)


# parents


def test_egg_eaters_go_out_at_once_and_it_is_urgent_and_late_after_an_hour() -> None:
    (out,) = spawned(NEON).of(Task.PARENTS_OUT, 2.5)
    assert out.urgent
    assert out.late_ms(EIGHT + round(2.5 * HOUR_MS)) == round(1.5 * HOUR_MS)
    assert "unplug heater" in out.caution
    assert spawned(NEON).tell(BroodAct.PARENTS_OUT, 1).of(Task.PARENTS_OUT, 2) == []


def test_of_a_bubble_nest_the_female_goes_at_once_and_the_male_when_the_young_swim() -> None:
    female, male = spawned(DWARF).of(Task.PARENTS_OUT, 1)
    assert female.key.endswith("/female")
    assert female.due_ms == EIGHT
    assert male.key.endswith("/male")
    assert male.from_ms == window(spawned(DWARF).foreseen(1), Leg.SWIMMING).from_ms
    left = spawned(DWARF).tell(BroodAct.PARENTS_OUT, 1, who="female").of(Task.PARENTS_OUT, 2)
    assert [todo.key for todo in left] == [male.key]


@pytest.mark.parametrize("species", [RAM, APISTO])
def test_parents_that_guard_stay(species: str) -> None:
    assert spawned(species).of(Task.PARENTS_OUT, 1) == []


def test_adults_are_eased_back_once_they_are_out() -> None:
    assert spawned(NEON).of(Task.ADULTS_BACK, 1) == []
    (back,) = spawned(NEON).tell(BroodAct.PARENTS_OUT, 1).of(Task.ADULTS_BACK, 2)
    assert after(back.due_ms) == 25
    assert "at most 2\u202f°C" in back.why


# darkness and eggs


def test_light_shy_eggs_are_covered_kept_dark_and_uncovered_when_they_swim() -> None:
    attempt = spawned(NEON)
    (cover,) = attempt.of(Task.DARK, 0.5)
    assert cover.due_ms == EIGHT
    assert attempt.of(Task.KEEP_DARK, 0.5) == []
    attempt.tell(BroodAct.DARK, 1)
    assert attempt.of(Task.DARK, 2) == []
    (keep,) = attempt.of(Task.KEEP_DARK, 2)
    (light,) = attempt.of(Task.LIGHT, 2)
    swims = window(attempt.foreseen(2), Leg.SWIMMING)
    assert (after(keep.from_ms), keep.to_ms) == (1, swims.from_ms)
    assert keep.flag
    assert light.from_ms == swims.from_ms
    assert "precaution" in keep.why


def test_eggs_that_bear_light_are_not_covered() -> None:
    assert spawned(DANIO).of(Task.DARK, 0.5) == []


def test_white_eggs_come_out_every_day_until_the_hatch_and_a_missed_day_gives_way() -> None:
    keys = [todo.key for todo in spawned(APISTO).of(Task.WHITE_EGGS, 1)]
    assert keys == [f"2026-14/white-eggs/{day}" for day in (1, 2, 3, 4)]
    keys = [todo.key for todo in spawned(APISTO).of(Task.WHITE_EGGS, 50)]
    assert keys == [f"2026-14/white-eggs/{day}" for day in (2, 3, 4)]
    assert spawned(APISTO).tell(BroodAct.HATCHED, 60).of(Task.WHITE_EGGS, 61) == []


def test_a_hatch_that_does_not_come_is_asked_about_in_other_words() -> None:
    (hatch,) = spawned(NEON).of(Task.HATCH, 40)
    assert "should have hatched" in hatch.words
    assert hatch.late_ms(EIGHT + 40 * HOUR_MS) > 0
    assert spawned(NEON).tell(BroodAct.HATCHED, 27).of(Task.HATCH, 40) == []


# fry


def test_larvae_are_not_fed_before_they_may_swim() -> None:
    attempt = spawned(NEON).tell(BroodAct.HATCHED, 27)
    (rule,) = attempt.of(Task.NO_FEED, 28)
    assert (after(rule.from_ms), rule.to_ms) == (
        27,
        window(attempt.foreseen(28), Leg.SWIMMING).from_ms,
    )
    assert rule.late_ms(rule.to_ms + DAY_MS) == 0
    attempt.tell(BroodAct.SWIMMING, 150)
    assert attempt.of(Task.NO_FEED, 151) == []
    assert next(todo.key for todo in attempt.of(Task.FEED, 151)) == "2026-14/feed/protozoa"


def test_first_food_is_looked_at_two_days_and_one_day_ahead() -> None:
    attempt = spawned(NEON).tell(BroodAct.HATCHED, 27)
    swims = window(attempt.foreseen(28), Leg.SWIMMING)
    two, one = attempt.of(Task.FOOD_READY, 28)
    assert (swims.from_ms - two.due_ms, swims.from_ms - one.due_ms) == (48 * HOUR_MS, DAY_MS)
    assert "drop of the culture under the glass" in two.words
    later = after(one.due_ms) + 12  # what was measured since made the first possible hour later
    assert [todo.key for todo in attempt.of(Task.FOOD_READY, later)] == [one.key]


def test_where_nothing_tells_when_they_swim_food_is_to_be_ready_by_the_hatch() -> None:
    attempt = spawned("puntigrus-tetrazona")
    hatch = window(attempt.foreseen(2), Leg.HATCH)
    (ready,) = attempt.of(Task.FOOD_READY, 2)
    assert ready.due_ms == hatch.likely_ms
    assert ready.words.startswith("Have infusoria ready by the hatch")
    assert ready.why == "cannot say: no free-swimming figure for Puntigrus tetrazona"
    (look,) = attempt.of(Task.SWIMMING, 2)
    assert look.from_ms == hatch.likely_ms
    attempt.tell(BroodAct.HATCHED, 40).tell(BroodAct.SWIMMING, 100)
    assert attempt.of(Task.FOOD_READY, 101) == []
    assert next(todo.key for todo in attempt.of(Task.FEED, 101)) == "2026-14/feed/protozoa"


def test_a_species_without_any_figure_still_gets_its_to_dos() -> None:
    tasks = {todo.task for todo in spawned("trichopodus-leerii").todos(1)}
    assert tasks == {Task.PARENTS_OUT, Task.FOOD_READY, Task.SWIMMING}


def test_counts_are_asked_for_at_day_14_and_30_after_the_hatch() -> None:
    attempt = spawned(NEON).tell(BroodAct.HATCHED, 27).tell(BroodAct.SWIMMING, 150)
    counts = attempt.of(Task.COUNT, 151)
    assert [round(after(todo.due_ms) - 27) // 24 for todo in counts] == [14, 30]
    attempt.tell(BroodAct.COUNTED, 27 + 14 * 24, count="41", counted=Counted.DAY_14)
    assert [todo.key for todo in attempt.of(Task.COUNT, 400)] == ["2026-14/count/day-30"]


# the list


def test_a_ticked_to_do_is_gone_and_an_ended_brood_asks_nothing() -> None:
    attempt = spawned(NEON)
    before = {todo.key for todo in attempt.todos(1)}
    attempt.tell(BroodAct.DONE, 1, detail="2026-14/white-eggs/1")
    assert before - {todo.key for todo in attempt.todos(1)} == {"2026-14/white-eggs/1"}
    attempt.tell(BroodAct.ENDED, 2, outcome="lost")
    assert attempt.todos(3) == ()


def test_keys_stay_when_the_forecast_moves() -> None:
    attempt = spawned(NEON)
    cool, warm = attempt.todos(1, 24.0), attempt.todos(1, 25.0)
    assert {todo.key for todo in cool} == {todo.key for todo in warm}
    assert [todo.due_ms for todo in cool] != [todo.due_ms for todo in warm]


def test_the_list_runs_in_order_of_what_is_due() -> None:
    found = spawned(NEON).todos(0.5)
    assert [todo.due_ms for todo in found] == sorted(todo.due_ms for todo in found)
    assert len({todo.key for todo in found}) == len(found)
    assert all(todo.from_ms <= todo.due_ms <= todo.to_ms for todo in found)


def test_whatever_puts_hands_or_brine_near_the_mains_says_the_caution() -> None:
    hands = {Task.PARENTS_OUT, Task.ADULTS_BACK, Task.WHITE_EGGS, Task.MOVE_UP}
    told = spawned(NEON).tell(BroodAct.PARENTS_OUT, 1).todos(2) + spawned(NEON).todos(2)
    assert {todo.task for todo in told} >= hands
    for todo in told:
        if todo.task in hands or todo.key.startswith("2026-14/culture/artemia"):
            assert "residual-current" in todo.caution, todo.key
            assert "Local electrical rules" in todo.caution, todo.key


@given(st.sampled_from([NEON, RAM, DWARF, APISTO, DANIO]), st.integers(0, 45 * 24))
def test_no_to_do_asks_for_anything_after_it_is_too_late_to_matter(species: str, hour: int) -> None:
    attempt = spawned(species).tell(BroodAct.HATCHED, 60).tell(BroodAct.SWIMMING, 170)
    now_ms = EIGHT + hour * HOUR_MS
    for todo in attempt.todos(hour):
        assert todo.from_ms <= todo.due_ms <= todo.to_ms
        if todo.task in {Task.LOOK, Task.FEED}:
            assert todo.to_ms > now_ms, local_clock(todo.to_ms, ZONE, now_ms)
