"""Ramps: they reach their target, and never break a pace."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roewatch.breeding.pace import Followed, Moment, Pace, WaterState, paces
from roewatch.breeding.ramp import Ramp, RampRefusedError, RampWish, astray, draw, redraw
from roewatch.breeding.warming import reckoned
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.window import Basis, RateLimit, Window
from roewatch.water.refusal import RefusedError
from roewatch.water.source import Makeup, SourceWater, mixed

NOON = 1_767_268_800_000


def tank(**other: float) -> SourceWater:
    given = {"ph": 7.4, "alkalinity": 0.35, "dgh": 3.0, "celsius": 24.0, "conductivity": 120.0}
    return SourceWater(name="A1", **(given | other))  # type: ignore[arg-type]


def vat(**other: float) -> Makeup:
    given = {"alkalinity": 0.008, "dgh": 0.1, "celsius": 24.0, "conductivity": 10.0, "pco2": 800.0}
    return SourceWater(name="roof rain", **(given | other)).makeup  # type: ignore[arg-type]


def wish(**other: object) -> RampWish:
    given: dict[str, object] = {
        "tank": "A1",
        "litres": 54.0,
        "now": tank(),
        "recipe": vat(),
        "targets": {Followed.PH: Window(low=5.9, high=6.2)},
        "celsius": 27.0,
        "paces": paces(Stage.CONDITIONING),
        "first_ms": NOON,
        "days": 21,
    }
    return RampWish(**(given | other))  # type: ignore[arg-type]


def broken(moments: Sequence[Moment], kept: Sequence[Pace]) -> list[str]:
    """Every pair of moments within a span that moved too far; written apart from the planner."""
    found = []
    for pace in kept:
        for j, later in enumerate(moments):
            for earlier in reversed(moments[:j]):
                if later.at_ms - earlier.at_ms > pace.span_ms:
                    break
                a, b = earlier.state.of(pace.followed), later.state.of(pace.followed)
                if a is None or b is None:
                    continue
                rise, fall = pace.rise, pace.fall
                if pace.of_value:
                    rise, fall = max(rise * a, pace.least), max(fall * a, pace.least)
                if b - a > rise + 1e-6 or a - b > fall + 1e-6:
                    found.append(f"{pace.text()}: {a:.3f} to {b:.3f}")
    return found


def assert_true_to_the_water(asked: RampWish, ramp: Ramp) -> None:
    """The predictions are those of pouring the recipe into the tank, change after change."""
    water = asked.now.makeup
    pco2 = asked.pco2 if asked.now.ph is None else water.closed().pco2
    celsius = asked.now.celsius
    for step in ramp.steps:
        rest = water.aired(pco2=pco2, celsius=celsius)
        assert step.before.ph == pytest.approx(rest.ph, abs=2e-3)
        water = mixed(
            [(1.0 - step.fraction, replace(water, dic=rest.dic)), (step.fraction, asked.recipe)]
        )
        if step.fraction > 0.0 and asked.water_celsius is None:
            assert step.just_after.ph == pytest.approx(water.closed(celsius=celsius).ph, abs=2e-3)
        celsius = step.thermostat
        assert step.settled.dkh == pytest.approx(water.dkh, abs=1e-6)
        assert step.settled.dgh == pytest.approx(water.dgh, abs=1e-6)
        assert step.settled.ph == pytest.approx(
            water.aired(pco2=pco2, celsius=celsius).ph, abs=2e-3
        )


def test_a_conditioning_ramp_reaches_its_target_within_the_days() -> None:
    ramp = draw(wish())
    last = ramp.steps[-1].settled
    assert ramp.days <= 21
    assert 5.9 <= last.ph <= 6.2
    assert last.celsius == 27.0
    assert not broken(ramp.moments, paces(Stage.CONDITIONING))
    assert_true_to_the_water(wish(), ramp)


def test_too_few_days_are_refused_with_the_shortest_safe_ramp() -> None:
    with pytest.raises(RampRefusedError, match="too few for a safe ramp; the shortest takes") as no:
        draw(wish(days=5))
    shortest = no.value.shortest
    assert shortest is not None
    assert 5 < shortest.days < 20
    assert not broken(shortest.moments, paces(Stage.CONDITIONING))
    # and it is truly safe: asked for in just that many days, it is granted
    assert draw(wish(days=shortest.days)).days == shortest.days


def test_a_recipe_that_never_leads_there_is_refused_with_the_nearest() -> None:
    hard = vat(alkalinity=0.2)
    with pytest.raises(RampRefusedError, match=r"never leads there.*Nearest: pH 7\.\d\d") as no:
        draw(wish(recipe=hard))
    assert no.value.shortest is None


def test_a_vat_full_of_carbon_dioxide_is_refused_until_aired() -> None:
    fizzy = replace(vat(), dic=3.0)
    strict = [Pace(followed=Followed.PH, span_ms=DAY_MS, rise=0.02, fall=0.02)]
    with pytest.raises(RampRefusedError, match="air the vat"):
        draw(wish(recipe=fizzy, paces=strict, celsius=None))


def test_a_tank_already_at_its_target_gets_no_water_change() -> None:
    ramp = draw(wish(targets={Followed.PH: Window(low=7.3, high=7.5)}, celsius=None))
    assert ramp.steps == ()
    assert ramp.plans() == ()


def test_only_warming_moves_one_degree_a_day_and_no_water() -> None:
    ramp = draw(wish(targets={}))
    assert [step.thermostat for step in ramp.steps][-1] == 27.0
    assert all(step.fraction == 0.0 for step in ramp.steps)
    assert not broken(ramp.moments, paces(Stage.CONDITIONING))


def test_warming_does_not_keep_the_water_waiting() -> None:
    with pytest.raises(RampRefusedError) as warmed:
        draw(wish(days=1))
    with pytest.raises(RampRefusedError) as as_is:
        draw(wish(days=1, celsius=None))
    assert warmed.value.shortest is not None
    assert as_is.value.shortest is not None
    assert warmed.value.shortest.steps[0].fraction > 0.1
    assert warmed.value.shortest.days <= as_is.value.shortest.days + 1


def test_an_end_that_a_kh_kit_cannot_tell_is_said_with_its_range() -> None:
    assert "may lie anywhere from pH 5." in draw(wish()).cautions[0]
    firm = draw(wish(targets={Followed.PH: Window(low=7.1, high=7.2)}))
    assert not any("anywhere" in caution for caution in firm.cautions)


def test_a_heater_too_weak_is_said_before_anything_is_planned() -> None:
    weak = reckoned(litres=54.0, watts=15.0, room_celsius=20.0, covered=True)
    with pytest.raises(RefusedError, match="would stop at"):
        draw(wish(warmth=weak))


def test_young_are_moved_more_slowly_than_adults() -> None:
    adults = draw(wish(days=60))
    with pytest.raises(RampRefusedError) as no:
        draw(wish(days=1, paces=paces(Stage.FRY)))
    assert no.value.shortest is not None
    with pytest.raises(RampRefusedError) as adult_no:
        draw(wish(days=1))
    assert adult_no.value.shortest is not None
    assert no.value.shortest.days > adult_no.value.shortest.days
    assert adults.days <= 60


def test_a_keepers_own_rate_limit_stands_alone() -> None:
    slow = RateLimit(span_ms=DAY_MS, rise=0.1, fall=0.1)
    quick = RateLimit(span_ms=DAY_MS, rise=1.0, fall=1.0)
    alone = paces(Stage.CONDITIONING, {Quantity.PH: (quick,)})
    assert [pace.fall for pace in alone if pace.followed is Followed.PH] == [1.0]
    kept = paces(Stage.CONDITIONING, {Quantity.PH: (slow,)})
    ramp = draw(wish(paces=kept, days=40))
    assert all(step.before.ph - step.settled.ph <= 0.1 + 1e-6 for step in ramp.steps)


def test_a_plan_keeps_well_within_the_limit_at_which_a_species_alarm_begins() -> None:
    alarm = RateLimit(span_ms=DAY_MS, rise=0.5, fall=0.5, basis=Basis.COMMON_PRACTICE)
    strict = RateLimit(span_ms=DAY_MS, rise=0.1, fall=0.1, basis=Basis.PUBLISHED)
    for limit, steepest in ((alarm, 0.2), (strict, 0.1)):
        kept = paces(Stage.CONDITIONING, {Quantity.PH: (limit,)})
        assert min(pace.fall for pace in kept if pace.followed is Followed.PH) == steepest


def test_the_plan_of_a_ramp_says_what_each_probe_is_meant_to_show() -> None:
    ramp = draw(wish())
    plans = {plan.quantity: plan for plan in ramp.plans()}
    assert set(plans) == {Quantity.TEMPERATURE, Quantity.PH, Quantity.CONDUCTIVITY}
    assert plans[Quantity.PH].meant_at(NOON) == pytest.approx(7.4, abs=0.01)
    end = plans[Quantity.PH].meant_at(ramp.ends_ms)
    assert end is not None
    assert 5.9 <= end <= 6.2


def test_a_tank_that_follows_its_ramp_is_not_astray_and_one_that_does_not_is() -> None:
    ramp = draw(wish())
    step = ramp.steps[3]
    at_ms = step.at_ms + 12 * HOUR_MS
    assert astray(ramp, Moment(at_ms, step.settled)) == {}
    off = step.settled._replace(ph=step.settled.ph + 0.4)
    assert astray(ramp, Moment(at_ms, off)) == {Followed.PH: pytest.approx(0.4)}


def test_what_ph_moves_by_itself_is_left_free_by_the_plan() -> None:
    still, swinging = draw(wish(days=60)), draw(wish(days=60, ph_swing=0.0801))
    assert still.days <= 60
    assert swinging.days <= 60
    with pytest.raises(RampRefusedError) as no:
        draw(wish(days=1, ph_swing=0.0801))
    assert no.value.shortest is not None
    # 0.2 a day less 0.09: a swing is rounded up
    falls = [step.before.ph - step.settled.ph for step in no.value.shortest.steps]
    assert 0.10 < max(falls) <= 0.11 + 1e-6
    assert (
        "less 0.09 that pH moves by itself"
        in wish(ph_swing=0.0801).left_for_steps().paces[0].source
    )


def test_a_ph_that_swings_as_far_as_it_may_is_calmed_before_anything_is_planned() -> None:
    with pytest.raises(RampRefusedError, match=r"pH moves 0\.20 by itself between night and day"):
        draw(wish(ph_swing=0.2))


def test_planning_again_counts_what_the_tank_was_just_put_through() -> None:
    asked = wish()
    # somebody changed too much: pH fell 0.5 within the last ten hours
    before = Moment(NOON - 10 * HOUR_MS, WaterState(7.4, 120.0, 3.0, 0.98, 24.0))
    now = tank(ph=6.9, alkalinity=0.11, dgh=1.2, conductivity=48.0)
    again = redraw(asked, now=now, seen=[before], first_ms=NOON, last_ms=NOON + 30 * DAY_MS)
    assert again.steps[0].at_ms > before.at_ms + DAY_MS
    assert "waits until" in " ".join(again.cautions)
    assert not broken(again.moments[1:], paces(Stage.CONDITIONING))


WIDTH = {
    Followed.PH: 0.1,
    Followed.CONDUCTIVITY: 10.0,
    Followed.CARBONATE: 0.3,
    Followed.HARDNESS: 0.5,
}
own_paces = st.tuples(
    st.builds(
        Pace,
        followed=st.sampled_from(list(Followed)),
        span_ms=st.sampled_from([HOUR_MS, 6 * HOUR_MS, DAY_MS, 7 * DAY_MS]),
        rise=st.floats(0.05, 2.0),
        fall=st.floats(0.05, 2.0),
    ),
    st.builds(
        Pace,
        followed=st.just(Followed.PH),
        span_ms=st.sampled_from([HOUR_MS, DAY_MS]),
        rise=st.floats(0.05, 1.0),
        fall=st.floats(0.05, 1.0),
    ),
)


@st.composite
def wishes(draw_one: st.DrawFn) -> RampWish:
    """Any tank that can exist, any recipe, and a target mostly, not always, on the way."""
    alkalinity = draw_one(st.floats(0.05, 4.0))
    tank_pco2 = draw_one(st.floats(400.0, 4000.0))
    celsius = draw_one(st.floats(20.0, 29.0))
    dgh = draw_one(st.floats(0.0, 15.0))
    conductivity = draw_one(st.floats(40.0, 700.0))
    resting = SourceWater(
        name="A1", celsius=celsius, alkalinity=alkalinity, pco2=tank_pco2, dgh=dgh,
        conductivity=conductivity,
    )  # fmt: skip
    ph = resting.makeup.aired(pco2=tank_pco2).ph
    recipe = vat(
        alkalinity=draw_one(st.floats(-0.02, 5.0)),
        dgh=draw_one(st.floats(0.0, 15.0)),
        conductivity=draw_one(st.floats(3.0, 700.0)),
        pco2=draw_one(st.floats(400.0, 5000.0)),
    )
    way = draw_one(st.floats(0.05, 1.1))
    there = mixed([(max(1.0 - way, 0.0), resting.makeup), (min(way, 1.0), recipe)])
    end = there.aired(pco2=tank_pco2, celsius=celsius)
    values = {
        Followed.PH: end.ph,
        Followed.CONDUCTIVITY: there.conductivity or 0.0,
        Followed.CARBONATE: there.dkh,
        Followed.HARDNESS: there.dgh,
    }
    followed = draw_one(st.sampled_from(list(WIDTH)))
    band = Window(low=values[followed] - WIDTH[followed], high=values[followed] + WIDTH[followed])
    return wish(
        now=tank(ph=ph, alkalinity=alkalinity, celsius=celsius, dgh=dgh, conductivity=conductivity),
        recipe=recipe,
        targets={followed: band},
        celsius=draw_one(st.one_of(st.none(), st.floats(20.0, 30.0))),
        water_celsius=draw_one(st.one_of(st.none(), st.floats(12.0, 30.0))),
        days=draw_one(st.integers(1, 45)),
        largest_change=draw_one(st.floats(0.1, 0.6)),
        paces=draw_one(
            st.one_of(st.sampled_from([paces(Stage.CONDITIONING), paces(Stage.FRY)]), own_paces)
        ),
    )


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(wishes())
def test_no_ramp_ever_breaks_a_pace(asked: RampWish) -> None:
    try:
        ramp: Ramp | None = draw(asked)
    except RampRefusedError as refused:
        ramp = refused.shortest
    if ramp is None:
        return
    assert not broken(ramp.moments, asked.paces)
    assert all(step.fraction <= asked.largest_change + 1e-9 for step in ramp.steps)
    assert_true_to_the_water(asked, ramp)
    if ramp.steps:
        last = ramp.steps[-1].settled
        for followed, window in asked.targets.items():
            value = last.of(followed)
            assert value is not None
            assert abs(window.outside_by(value)) < 1e-3
