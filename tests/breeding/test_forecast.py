"""Forecasts of hatch and free-swimming: published figures met, windows that only narrow."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.breeding.rearing import SHEETS, developments, foreseen, in_hours, steady, water, window

from roewatch.breeding.development import CannotSay, Leg
from roewatch.breeding.temperatures import temperatures_of
from roewatch.room.moment import HOUR_MS, MINUTE_MS

HATCHING = sorted(
    species for species in SHEETS if not isinstance(developments(species)[Leg.HATCH], CannotSay)
)


def test_zebrafish_at_26_hatch_from_the_48_hour_stage_to_the_72_hour_stage() -> None:
    # [K95] formula: 48 / 0.86 = 55.81 h and 72 / 0.86 = 83.72 h
    soonest, _, latest = in_hours(window(foreseen("danio-rerio", steady(26.0, 90))))
    assert soonest == pytest.approx(55.81, abs=0.01)
    assert latest == pytest.approx(83.72, abs=0.01)


def test_a_night_without_heat_moves_the_zebrafish_hatch_as_reckoned_by_hand() -> None:
    # 10 h at 27, 6 h at 20, then 27: (48 - 9.15 - 3.18) / 0.915 = 38.98; 54.98 h, not 52.46
    readings = [(at * MINUTE_MS, 20.0 if 600 <= at < 960 else 27.0) for at in range(90 * 60)]
    found = window(foreseen("danio-rerio", water(readings, 90)))
    assert found.from_ms / HOUR_MS == pytest.approx(54.98, abs=0.1)  # the readings stand 1 min off


NEON = [  # °C, hours from and to, source
    (26.0, 24.0, 26.0, "24-26 h at 26 °C [NEO-T]"),
    (18.0, 38.0, 40.0, "38-40 h at 18 °C [NEO-T]"),
]


@pytest.mark.parametrize(("celsius", "soonest", "latest", "source"), NEON)
def test_neon_eggs_hatch_within_the_published_hours(
    celsius: float, soonest: float, latest: float, source: str
) -> None:
    first, likely, last = in_hours(window(foreseen("paracheirodon-innesi", steady(celsius, 60))))
    # the middle lies within what was seen, and the window leaves none of it out (to a second)
    assert soonest < likely < latest, source
    assert first <= soonest + 1 / 3600, source
    assert last >= latest - 1 / 3600, source
    assert last - first < 1.6 * (latest - soonest), source


def test_the_line_through_the_neon_figures_gives_the_hours_between() -> None:
    # [NEO-T] by a line through both points: T0 = 3.71 °C, 557 °C·h; 30.5 h at 22, 27.5 at 24
    development = developments("paracheirodon-innesi")[Leg.HATCH]
    assert not isinstance(development, CannotSay)
    assert development.courses[0].zero_celsius == pytest.approx(3.71, abs=0.01)
    assert development.courses[0].likely == pytest.approx(557, abs=1)
    for celsius, hours in ((22.0, 30.5), (24.0, 27.5), (25.0, 26.2)):
        likely = in_hours(window(foreseen("paracheirodon-innesi", steady(celsius, 60))))[1]
        assert likely == pytest.approx(hours, abs=0.1)


SINGLE = [  # species, °C, from h, to h, source
    ("gymnocorymbus-ternetzi", 24.0, 20, 21, "[TER] 20-21 h at 24 °C"),
    ("hyphessobrycon-eques", 28.0, 16, 16, "[EQU] 16 h at 28 °C"),
    ("corydoras-aeneus", 26.5, 72, 120, "[COR] 3-5 days at 25-28 °C"),
    ("trichopsis-pumila", 26.5, 24, 36, "[PUM] 24-36 h at 26-27 °C"),
]


@pytest.mark.parametrize(("species", "celsius", "low", "high", "source"), SINGLE)
def test_a_single_figure_is_taken_at_its_temperature_widened_and_marked_assumed(
    species: str, celsius: float, low: float, high: float, source: str
) -> None:
    found = window(foreseen(species, steady(celsius, 200)))
    soonest, likely, latest = in_hours(found)
    assert soonest <= low <= likely <= high <= latest, source
    assert found.basis == "assumed"


def test_where_no_relative_was_measured_the_window_takes_in_every_law_of_warmth() -> None:
    # 3 °C below the figure the three known laws part: Q10 1.15 to 2.45
    def width(celsius: float) -> float:
        soonest, _, latest = in_hours(window(foreseen("corydoras-aeneus", steady(celsius, 300))))
        return latest / soonest

    assert width(26.5) == pytest.approx(120 / 72, rel=0.01)
    assert width(23.5) > 1.1 * width(26.5)


def test_a_species_without_a_figure_is_not_forecast() -> None:
    found = foreseen("trichopodus-leerii", steady(26.0, 5))
    assert isinstance(found.hatch, CannotSay)
    assert found.hatch.why == "cannot say: no hatch figure for Trichopodus leerii"
    found = foreseen("trigonostigma-espei", steady(26.0, 5))
    assert found.expected(Leg.HATCH) is not None
    assert isinstance(found.swimming, CannotSay)


@pytest.mark.parametrize("celsius", [32.0, 33.5])
def test_nothing_is_forecast_from_32_degrees_on(celsius: float) -> None:
    # embryos deform from 32.5 °C [P15]
    found = foreseen("danio-rerio", steady(celsius, 3), hours=3)
    assert isinstance(found.hatch, CannotSay)
    assert found.hatch.why.startswith("outside the range: nothing is forecast at")
    assert isinstance(found.swimming, CannotSay)


def test_eggs_that_once_stood_too_warm_are_not_forecast_either() -> None:
    hot = [(at * 10 * MINUTE_MS, 33.0 if 6 <= at < 14 else 26.0) for at in range(200)]
    found = foreseen("danio-rerio", water(hot, 33), hours=33)
    assert isinstance(found.hatch, CannotSay)
    assert "stood at 32\u00a0°C or more for" in found.hatch.why


def test_one_spike_of_a_probe_does_not_stop_the_clock() -> None:
    spike = [(at * 10 * MINUTE_MS, 34.0 if at == 50 else 26.0) for at in range(200)]
    assert foreseen("danio-rerio", water(spike, 33), hours=33).expected(Leg.HATCH) is not None


def test_water_too_cold_is_refused_in_words() -> None:
    found = foreseen("danio-rerio", steady(10.5, 3), hours=3)
    assert isinstance(found.hatch, CannotSay)
    assert "all but stands still" in found.hatch.why


def test_without_any_temperature_nothing_is_forecast() -> None:
    found = foreseen("danio-rerio", None)
    assert isinstance(found.hatch, CannotSay)
    assert "no temperature of this water" in found.hatch.why


def test_a_recorded_hatch_replaces_the_forecast_and_free_swimming_starts_from_it() -> None:
    before = window(foreseen("paracheirodon-innesi", steady(25.0, 30)), Leg.SWIMMING)
    found = foreseen("paracheirodon-innesi", steady(25.0, 30), hatched_ms=30 * HOUR_MS)
    hatch, swimming = window(found), window(found, Leg.SWIMMING)
    assert hatch.happened
    assert (hatch.from_ms, hatch.to_ms) == (30 * HOUR_MS, 30 * HOUR_MS)
    assert swimming.likely_ms > before.likely_ms
    assert swimming.width_ms < before.width_ms


def test_a_window_that_passed_without_a_record_is_overdue() -> None:
    found = window(foreseen("paracheirodon-innesi", steady(25.0, 40), hours=40))
    assert found.overdue(40 * HOUR_MS)
    assert not found.overdue(found.to_ms)
    assert found.done == 1.0


def test_a_forecast_says_what_it_stands_on() -> None:
    gap = [(at * 10 * MINUTE_MS, 22.0) for at in range(200) if not 30 < at < 60]
    why = window(foreseen("danio-rerio", water(gap, 33), hours=33)).why
    assert "48-72 h at 28.5\u00a0°C (published)" in why
    assert "5 h without readings were bridged" in why
    assert "which were taken between 25\u00a0°C and 33\u00a0°C" in why


def test_before_the_first_reading_the_plan_serves_and_the_window_is_wider() -> None:
    planned = temperatures_of([], nominal=26.0, from_ms=0, to_ms=0)
    measured = temperatures_of([(0, 26.0)], nominal=None, from_ms=0, to_ms=0)
    guess = window(foreseen("danio-rerio", planned))
    known = window(foreseen("danio-rerio", measured))
    assert "no reading yet" in guess.why.lower()
    assert guess.from_ms < known.from_ms < known.to_ms < guess.to_ms


moments = st.lists(st.integers(0, 20 * 24 * 60), min_size=2, max_size=60, unique=True).map(sorted)


@given(
    st.sampled_from(HATCHING),
    st.floats(18, 31.9),
    moments,
    st.data(),
)
def test_a_window_never_widens_with_more_data_at_constant_temperature(
    species: str, celsius: float, minutes: list[int], data: st.DataObject
) -> None:
    readings = [(minute * MINUTE_MS, celsius) for minute in minutes]
    seen = data.draw(st.integers(1, len(readings) - 1))
    early = foreseen(species, water(readings[:seen], 500), hours=minutes[seen - 1] / 60)
    late = foreseen(species, water(readings, 500), hours=minutes[-1] / 60)
    for leg in Leg:
        before, after = early.expected(leg), late.expected(leg)
        if before is None:
            continue
        assert after is not None
        # moments are whole milliseconds, so each end may be one off
        assert after.from_ms >= before.from_ms - 1
        assert after.to_ms <= before.to_ms + 1
        assert after.from_ms <= after.likely_ms <= after.to_ms


def test_a_later_reading_of_the_same_ten_minutes_opens_no_gap_again() -> None:
    hourly = [(0, 26.0), (60 * MINUTE_MS, 26.0)]
    before = window(foreseen("danio-rerio", water(hourly, 2), hours=1))
    after = window(foreseen("danio-rerio", water([*hourly, (68 * MINUTE_MS, 26.0)], 2), hours=2))
    assert after.width_ms <= before.width_ms


@given(st.sampled_from(HATCHING), st.floats(18, 31.9), st.floats(18, 31.9))
def test_warmer_water_is_never_later(species: str, one: float, other: float) -> None:
    cool, warm = sorted((one, other))
    slow = foreseen(species, temperatures_of([(0, cool)], nominal=None, from_ms=0, to_ms=0))
    fast = foreseen(species, temperatures_of([(0, warm)], nominal=None, from_ms=0, to_ms=0))
    for leg in Leg:
        late, soon = slow.expected(leg), fast.expected(leg)
        if late is not None and soon is not None:
            assert soon.from_ms <= late.from_ms
            assert soon.likely_ms <= late.likely_ms
            assert soon.to_ms <= late.to_ms


def simulated_celsius(minute: int) -> float:
    """Water that swings with day and thermostat and loses its heat for six hours once."""
    hours = minute / 60
    swing = 0.4 * math.sin(hours * 2 * math.pi / 24) + 0.15 * math.sin(hours * 2 * math.pi / 2.2)
    cut = 3.5 * math.exp(-abs(hours - 22) / 3) if 14 < hours < 40 else 0.0
    return 26.0 + swing - cut


@pytest.mark.parametrize("species", ["danio-rerio", "paracheirodon-innesi"])
def test_every_forecast_made_on_the_way_holds_the_simulated_hatch(species: str) -> None:
    development = developments(species)[Leg.HATCH]
    assert not isinstance(development, CannotSay)
    course = development.courses[0]
    gathered, truth_h = 0.0, 0.0
    while gathered < course.likely:
        gathered += (simulated_celsius(round(truth_h * 60)) - course.zero_celsius) / 60
        truth_h += 1 / 60
    widths = []
    for seen_h in range(1, round(truth_h)):
        readings = [(m * MINUTE_MS, simulated_celsius(m)) for m in range(0, seen_h * 60, 5)]
        soonest, likely, latest = in_hours(window(foreseen(species, water(readings, seen_h))))
        assert soonest < truth_h < latest, seen_h
        widths.append(latest - soonest)
    assert likely == pytest.approx(truth_h, abs=0.15)
    assert widths[-1] < widths[0]
