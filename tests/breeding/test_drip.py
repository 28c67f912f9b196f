"""Drips: adults moving back to the holding tank."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.breeding import drip
from roewatch.breeding.pace import Followed, Moment, Pace, paces
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.stage import Stage
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater

ADULTS = [
    Pace(followed=Followed.PH, span_ms=HOUR_MS, rise=0.3, fall=0.3),
    Pace(followed=Followed.PH, span_ms=DAY_MS, rise=0.8, fall=0.8),
    Pace(followed=Followed.TEMPERATURE, span_ms=HOUR_MS, rise=1.0, fall=1.0),
]


def spawning(**other: float) -> SourceWater:
    given_values = {
        "ph": 6.8, "alkalinity": 0.15, "dgh": 1.0, "celsius": 27.0, "conductivity": 50.0,
    }  # fmt: skip
    return SourceWater(name="A1", **(given_values | other))  # type: ignore[arg-type]


def holding(**other: float) -> SourceWater:
    given_values = {
        "ph": 7.3, "alkalinity": 0.6, "dgh": 3.0, "celsius": 25.0, "conductivity": 160.0,
    }  # fmt: skip
    return SourceWater(name="B1", **(given_values | other))  # type: ignore[arg-type]


def test_a_drip_of_three_volumes_leaves_five_percent() -> None:
    # e^-3 is 4.98 %: the continuous limit of many small changes
    found = drip.over(litres=4.0, bag=spawning(), tank=holding(), paces=ADULTS)
    assert found.litres_needed == pytest.approx(4.0 * -math.log(0.05), abs=1e-6)
    assert found.litres_per_hour * found.hours == pytest.approx(found.litres_needed)
    assert found.states[-1][1].dgh == pytest.approx(3.0 - 0.05 * 2.0, abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.floats(6.2, 7.6), st.floats(0.05, 2.0), st.floats(22.0, 29.0))
def test_no_drip_ever_breaks_a_pace(ph: float, alkalinity: float, celsius: float) -> None:
    bag = spawning(ph=ph, alkalinity=alkalinity, celsius=celsius)
    try:
        found = drip.over(litres=3.0, bag=bag, tank=holding(), paces=ADULTS)
    except RefusedError:
        return
    moments = [Moment(round(hours * HOUR_MS), state) for hours, state in found.states]
    for pace in ADULTS:
        for j, later in enumerate(moments):
            for earlier in moments[:j]:
                if later.at_ms - earlier.at_ms > pace.span_ms:
                    continue
                a, b = earlier.state.of(pace.followed), later.state.of(pace.followed)
                assert a is not None
                assert b is not None
                assert b - a <= pace.rise + 1e-6
                assert a - b <= pace.fall + 1e-6


def test_waters_too_far_apart_are_refused_and_sent_to_a_ramp() -> None:
    with pytest.raises(RefusedError, match="ramp it over days"):
        drip.over(
            litres=4.0,
            bag=spawning(alkalinity=0.03, ph=6.0),
            tank=holding(alkalinity=3.0, ph=7.9),
            paces=paces(Stage.HOLDING),
        )


def test_healthy_adults_may_move_between_like_waters_within_hours() -> None:
    found = drip.over(
        litres=4.0,
        bag=spawning(),
        tank=holding(ph=7.1, alkalinity=0.4),
        paces=drip.ADULTS_MOVING,
    )
    assert 0.25 <= found.hours <= 12.0


def test_a_rising_ph_is_warned_of_for_the_ammonia_in_the_bag() -> None:
    found = drip.over(litres=4.0, bag=spawning(), tank=holding(), paces=ADULTS)
    assert any("ammonia" in caution for caution in found.cautions)
