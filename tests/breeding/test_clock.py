"""The clock of development: degree-hours against the published staging formula."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.breeding.clock import gathered
from roewatch.breeding.temperatures import Temperatures, temperatures_of
from roewatch.room.moment import HOUR_MS
from roewatch.room.staging import StagingFormula

# [K95] Stages of Embryonic Development of the Zebrafish, Developmental Dynamics 203, 1995
ZEBRAFISH = StagingFormula(per_celsius=0.055, at_zero=-0.57, reference=28.5, low=25, high=33)


def test_development_stands_still_in_the_cold() -> None:
    assert ZEBRAFISH.rate(5.0) == 0.0
    assert ZEBRAFISH.degree_hours(48) == pytest.approx(872.7, abs=0.05)  # 48 / 0.055


def test_a_slow_fall_is_summed_along_its_slope() -> None:
    # one hour from 28 straight down to 24 °C, zero at 10 °C: a mean of 16 °C above it
    falling = Temperatures(at_ms=(0, HOUR_MS), celsius=(28.0, 24.0), ahead=24.0)
    assert gathered(falling, 10.0).until(HOUR_MS) == pytest.approx(16)
    half = gathered(falling, 10.0).reached(8.25, 0)
    # 18 t - 2 t² = 8.25 at t = (18 - √(324 - 66)) / 4 = 0.4844 h
    assert half == pytest.approx(0.4844 * HOUR_MS, abs=0.001 * HOUR_MS)


def test_water_too_cold_for_the_species_never_gets_there() -> None:
    cold = Temperatures(ahead=9.0)
    assert gathered(cold, 10.36).reached(872, 0) is None


def test_a_gap_is_bridged_and_counted() -> None:
    minute = HOUR_MS // 60
    readings = [(at * 10 * minute, 26.0) for at in range(13)]
    readings += [(8 * HOUR_MS + at * 10 * minute, 26.0) for at in range(13)]
    water = temperatures_of(readings, nominal=None, from_ms=0, to_ms=10 * HOUR_MS)
    assert water is not None
    assert water.bridged_h(0, 10 * HOUR_MS) == pytest.approx(6.0)
    total = gathered(water, 16.0).until(10 * HOUR_MS) - gathered(water, 16.0).until(0)
    assert total == pytest.approx(100.0)


def test_no_reading_and_no_plan_is_no_temperature() -> None:
    assert temperatures_of([], nominal=None, from_ms=0, to_ms=HOUR_MS) is None
    planned = temperatures_of([], nominal=26.0, from_ms=0, to_ms=HOUR_MS)
    assert planned is not None
    assert planned.ahead == 26.0


water = st.lists(st.tuples(st.integers(0, 9_000), st.floats(11, 31)), max_size=40)


@given(water, st.integers(-600, 12_000), st.integers(1, 12_000), st.sampled_from([-0.5, 0.0, 0.5]))
def test_the_moment_a_sum_is_reached_is_the_moment_it_was_taken_at(
    minutes: list[tuple[int, float]], start: int, later: int, warmer: float
) -> None:
    minute = HOUR_MS // 60
    knots = sorted(dict(minutes).items())
    known = Temperatures(
        at_ms=tuple(m * minute for m, _ in knots), celsius=tuple(c for _, c in knots), ahead=25.0
    )
    sums = gathered(known, 10.364, warmer)
    from_ms, to_ms = start * minute, (start + later) * minute
    reached = sums.reached(sums.until(to_ms) - sums.until(from_ms), from_ms)
    assert reached == pytest.approx(to_ms, abs=1.0)  # whole milliseconds


@given(water, st.floats(4, 12))
def test_the_running_sum_is_the_one_a_plain_walk_gives(
    minutes: list[tuple[int, float]], zero: float
) -> None:
    minute = HOUR_MS // 60
    knots = sorted(dict(minutes).items())
    known = Temperatures(
        at_ms=tuple(m * minute for m, _ in knots), celsius=tuple(c for _, c in knots), ahead=25.0
    )
    walked = sum(
        (max(part.first - zero, 0) + max(part.last - zero, 0)) / 2 * (part.to_ms - part.from_ms)
        for part in known.between(0, 10_000 * minute)
    )
    sums = gathered(known, zero)
    assert sums.until(10_000 * minute) - sums.until(0) == pytest.approx(walked / HOUR_MS)
