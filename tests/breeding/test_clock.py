"""The clock of development: degree-hours against the published staging formula."""

import pytest

from roewatch.breeding.clock import degree_hours, moment_reached
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
    assert degree_hours(falling, zero_celsius=10.0, from_ms=0, to_ms=HOUR_MS) == pytest.approx(16)
    half = moment_reached(falling, zero_celsius=10.0, degree_hours=8.25, from_ms=0)
    # 18 t - 2 t² = 8.25 at t = (18 - √(324 - 66)) / 4 = 0.4844 h
    assert half == pytest.approx(0.4844 * HOUR_MS, abs=0.001 * HOUR_MS)


def test_water_too_cold_for_the_species_never_gets_there() -> None:
    cold = Temperatures(ahead=9.0)
    assert moment_reached(cold, zero_celsius=10.36, degree_hours=872, from_ms=0) is None


def test_a_gap_is_bridged_and_counted() -> None:
    minute = HOUR_MS // 60
    readings = [(at * 10 * minute, 26.0) for at in range(13)]
    readings += [(8 * HOUR_MS + at * 10 * minute, 26.0) for at in range(13)]
    water = temperatures_of(readings, nominal=None, from_ms=0, to_ms=10 * HOUR_MS)
    assert water is not None
    assert water.bridged_h(0, 10 * HOUR_MS) == pytest.approx(6.0)
    total = degree_hours(water, zero_celsius=16.0, from_ms=0, to_ms=10 * HOUR_MS)
    assert total == pytest.approx(100.0)


def test_no_reading_and_no_plan_is_no_temperature() -> None:
    assert temperatures_of([], nominal=None, from_ms=0, to_ms=HOUR_MS) is None
    planned = temperatures_of([], nominal=26.0, from_ms=0, to_ms=HOUR_MS)
    assert planned is not None
    assert planned.ahead == 26.0
