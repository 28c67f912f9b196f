"""A conditioning planned, done in a simulated tank, measured and planned again."""

import pytest
from tests.bench.conditioning import (
    BEGIN_MS,
    DAYS,
    END_C,
    END_PH,
    PACES,
    REPLANNED,
    Course,
    executed,
    largest_moves,
)

from roewatch.breeding.ramp import RampRefusedError
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity


@pytest.fixture(scope="module")
def course() -> Course:
    return executed(seed=1)


def test_the_true_water_breaks_no_pace_on_the_way(course: Course) -> None:
    since = [moment for moment in course.truth if moment.at_ms >= BEGIN_MS - DAY_MS]
    moves = largest_moves(since)
    assert set(moves) == set(PACES)
    for pace, share in moves.items():
        assert share <= 1.0, pace.text()


def test_not_even_the_shortest_ramp_breaks_a_pace_when_it_is_done() -> None:
    with pytest.raises(RampRefusedError) as no:
        executed(seed=4, days=8)
    assert no.value.shortest is not None
    shortest = executed(seed=4, days=no.value.shortest.days)
    since = [moment for moment in shortest.truth if moment.at_ms >= BEGIN_MS - DAY_MS]
    assert max(largest_moves(since).values()) <= 1.0


def test_it_ends_where_it_was_meant_to_end(course: Course) -> None:
    assert len(course.steps) == DAYS
    assert course.ended is not None
    assert course.ended.ph == pytest.approx(END_PH, abs=0.15)
    assert course.ended.celsius == pytest.approx(END_C, abs=0.4)  # the thermostat's own swing


def test_each_evening_the_probes_show_what_was_meant(course: Course) -> None:
    for step in course.steps:
        now = course.measured(step.at_ms + DAY_MS)
        assert now[Quantity.PH] == pytest.approx(step.settled.ph, abs=0.1)
        assert now[Quantity.TEMPERATURE] == pytest.approx(step.settled.celsius, abs=0.4)
        assert now[Quantity.CONDUCTIVITY] == pytest.approx(step.settled.conductivity, rel=0.05)


def test_it_is_planned_again_from_what_the_probes_show(course: Course) -> None:
    assert [day for day, _ in course.replanned] == list(REPLANNED)
    first, *again = course.ramps
    for ramp, (day, said) in zip(again, course.replanned, strict=True):
        assert said == f"{DAYS - day} days left"
        assert ramp.steps != first.steps[day:]
        assert ramp.steps[0].at_ms == BEGIN_MS + day * DAY_MS
