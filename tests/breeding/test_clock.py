"""The clock of development: degree-hours against the published staging formula."""

import pytest

from roewatch.breeding.clock import degree_hours, moment_reached
from roewatch.breeding.temperatures import Temperatures, temperatures_of
from roewatch.room.moment import HOUR_MS
from roewatch.room.staging import StagingFormula

# [K95] Stages of Embryonic Development of the Zebrafish, Developmental Dynamics 203, 1995
ZEBRAFISH = StagingFormula(per_celsius=0.055, at_zero=-0.57, reference=28.5, low=25, high=33)

STAGES = [  # stage h at 28.5 °C, steady °C, hours, tolerance, source
    (19, 25.0, 23.60, 0.01, "[K95] prints 23.6 h for 20 somites at 25 °C; observed 23.5"),
    (19, 33.0, 15.26, 0.01, "[K95] formula; the paper rounds to 15 h, observed 14.5"),
    (48, 26.0, 55.81, 0.01, "[K95] formula"),
    (24, 25.0, 29.81, 0.01, "[K95] formula"),
    (72, 25.0, 89.44, 0.01, "[K95] formula"),
    (48, 30.0, 44.44, 0.01, "[K95] formula"),
    (72, 33.0, 57.83, 0.01, "[K95] formula"),
]


@pytest.mark.parametrize(("stage", "celsius", "hours", "tolerance", "source"), STAGES)
def test_a_stage_takes_the_published_hours(
    stage: float, celsius: float, hours: float, tolerance: float, source: str
) -> None:
    assert ZEBRAFISH.hours(stage, celsius) == pytest.approx(hours, abs=tolerance), source


def test_the_rate_at_the_reference_is_a_little_under_one() -> None:
    # [K95] formula: 0.055 x 28.5 - 0.57
    assert ZEBRAFISH.rate(28.5) == pytest.approx(0.9975, abs=1e-4)


def test_development_stands_still_at_the_zero_temperature() -> None:
    # 0.57 / 0.055 = 10.364; and 48 / 0.055 = 872.7 °C·h to the first hatching
    assert ZEBRAFISH.zero_celsius == pytest.approx(10.364, abs=0.001)
    assert ZEBRAFISH.degree_hours(48) == pytest.approx(872.7, abs=0.05)
    assert ZEBRAFISH.rate(5.0) == 0.0


def _steps(*spells: tuple[float, float], ahead: float) -> Temperatures:
    """Measured water that jumps between spells of so many hours at so many °C."""
    at_ms: list[int] = []
    celsius: list[float] = []
    start = 0
    for hours, warm in spells:
        end = start + round(hours * HOUR_MS)
        # the jump takes one millisecond, so that the straight line between is the spell itself
        at_ms += [start + (1 if at_ms else 0), end]
        celsius += [warm, warm]
        start = end
    return Temperatures(at_ms=tuple(at_ms), celsius=tuple(celsius), ahead=ahead)


CHANGING = [  # spells of hours at °C, then ahead °C, hours to h = 48, source
    ([(12, 28.0)], 24.0, 60.48, "12 x 0.97 = 11.64; (48 - 11.64) / 0.75 = 48.48; 60.48 h"),
    ([(10, 27.0), (6, 20.0)], 27.0, 54.98, "9.15 + 3.18; (48 - 12.33) / 0.915 = 38.98"),
]


@pytest.mark.parametrize(("spells", "ahead", "hours", "source"), CHANGING)
def test_a_change_of_warmth_moves_the_stage_by_the_effective_sum(
    spells: list[tuple[float, float]], ahead: float, hours: float, source: str
) -> None:
    # worked by hand from the [K95] formula
    reached = moment_reached(
        _steps(*spells, ahead=ahead),
        zero_celsius=ZEBRAFISH.zero_celsius,
        degree_hours=ZEBRAFISH.degree_hours(48),
        from_ms=0,
    )
    assert reached is not None
    assert reached / HOUR_MS == pytest.approx(hours, abs=0.01), source


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
