"""Ammonia, oxygen, nitrite, and the series derived from them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.water import ammonia, brine, derived, nitrite, oxygen
from roewatch.water.derived import NEEDS, WaterFacts
from roewatch.water.refusal import RefusedError

# °C, pH, % un-ionised. Source: Emerson et al. 1975, formula evaluated
EMERSON = [(15, 6.0, 0.0273), (20, 7.0, 0.394), (25, 8.0, 5.37), (30, 9.0, 44.5), (25, 6.5, 0.179)]


@pytest.mark.parametrize(("celsius", "ph", "percent"), EMERSON)
def test_the_unionised_share_is_emersons(celsius: float, ph: float, percent: float) -> None:
    found = 100.0 * ammonia.unionised_fraction(ph=ph, celsius=celsius)
    assert found == pytest.approx(percent, rel=0.005)


@given(st.floats(0, 50), st.floats(4, 9), st.floats(0, 1))
def test_more_alkaline_or_warmer_is_never_less_ammonia(t: float, ph: float, more: float) -> None:
    here = ammonia.unionised_fraction(ph=ph, celsius=t)
    assert ammonia.unionised_fraction(ph=ph + more, celsius=t) >= here
    assert ammonia.unionised_fraction(ph=ph, celsius=min(t + more, 50.0)) >= here


def test_a_hard_water_change_on_acid_water_is_warned_of_by_the_product() -> None:
    found = ammonia.judge(total_n=1.0, ph=6.0, celsius=26.0, ph_after=7.8)
    assert found.nh3 < 0.001
    assert found.over
    assert found.times == pytest.approx(60.0, rel=0.1)
    assert "times what it is now" in found.cautions[0]


def test_young_have_the_stricter_limit() -> None:
    assert ammonia.limit_for(Stage.FRY).nh3 < ammonia.limit_for(Stage.HOLDING).nh3


# m, °C, mg/L. Source: the same formula with the standard atmosphere, beside a meter maker's table
ALTITUDE = [(300, 20, 8.77), (600, 20, 8.45), (900, 20, 8.14)]


@pytest.mark.parametrize(("metres", "celsius", "mg"), ALTITUDE)
def test_height_takes_oxygen(metres: float, celsius: float, mg: float) -> None:
    pressure = oxygen.station_pressure(sea_level_hpa=1013.25, altitude_m=metres)
    assert oxygen.saturation(celsius=celsius, pressure_hpa=pressure) == pytest.approx(mg, abs=0.01)


def test_the_standard_atmosphere_at_900_metres() -> None:
    # ICAO standard atmosphere: 909.7 hPa
    found = oxygen.station_pressure(sea_level_hpa=1013.25, altitude_m=900.0)
    assert found == pytest.approx(909.7, abs=0.2)


def test_soft_water_holds_as_much_oxygen_as_pure() -> None:
    # salinity factor 0.9997 at 100 µS/cm and 0.9968 at 1000, 25 °C
    pure = oxygen.saturation(celsius=25.0)
    for conductivity, factor in ((100.0, 0.9997), (1000.0, 0.9968)):
        salinity = oxygen.salinity_of_conductivity(conductivity)
        held = oxygen.saturation(celsius=25.0, salinity=salinity)
        assert held / pure == pytest.approx(factor, abs=1e-4)


def test_full_water_is_one_hundred_percent() -> None:
    assert oxygen.percent(oxygen=8.263, celsius=25.0) == pytest.approx(100.0, abs=0.05)
    assert oxygen.cautions(50.0)
    assert oxygen.cautions(120.0)
    assert oxygen.cautions(95.0) == ()


def test_an_artemia_jar_of_20_grams_holds_a_tenth_less_oxygen() -> None:
    # salinity factor 0.89 at 20 g/kg
    found = brine.of_jar(litres=1.0, salt_per_litre=20.0, celsius=27.0)
    assert found.oxygen / oxygen.saturation(celsius=27.0) == pytest.approx(0.89, abs=0.01)
    assert found.salt == 20.0
    with pytest.raises(RefusedError):
        brine.of_jar(litres=1.0, salt_per_litre=50.0)


def test_nitrite_in_soft_acid_water_is_warned_of_sooner() -> None:
    assert nitrite.cautions(nitrite=0.06, ph=6.2)
    assert nitrite.cautions(nitrite=0.06, ph=7.6, chloride=60.0) == ()


NOW = 1_000_000_000


def latest(**values: float) -> dict[Quantity, tuple[int, float]]:
    return {Quantity(name): (NOW - 1000, value) for name, value in values.items()}


def test_derived_values_come_from_the_probes_that_are_there() -> None:
    found = derived.derive(
        latest(temperature=25.0, ph=7.0, ammonia_total=1.0, oxygen=8.0),
        at_ms=NOW,
        facts=WaterFacts(dkh=4.0),
    )
    assert found.values[Quantity.AMMONIA_FREE] == pytest.approx(0.00564 * 1.2159, rel=0.01)
    assert found.values[Quantity.OXYGEN_PERCENT] == pytest.approx(96.8, abs=0.1)
    assert found.values[Quantity.DIOXIDE] == pytest.approx(13.4, abs=0.4)


def test_a_missing_or_stale_input_leaves_a_series_out_without_a_word() -> None:
    readings = latest(temperature=25.0, oxygen=8.0)
    readings[Quantity.OXYGEN] = (NOW - derived.STALE_MS - 1, 8.0)
    found = derived.derive(readings, at_ms=NOW, facts=WaterFacts())
    assert found.values == {}
    assert found.refused == {}


def test_the_dioxide_guard_says_why_it_is_missing() -> None:
    found = derived.derive(
        latest(temperature=25.0, ph=5.6), at_ms=NOW, facts=WaterFacts(dkh=0.3, tannin=True)
    )
    assert Quantity.DIOXIDE not in found.values
    assert "tannins" in found.refused[Quantity.DIOXIDE]


@pytest.mark.parametrize("name", list(NEEDS))
@pytest.mark.parametrize("stage", list(Stage))
def test_every_derived_series_has_a_window_for_every_stage(name: Quantity, stage: Stage) -> None:
    assert derived.window(name, stage).source
