"""The simulator's pH against published constants and tables made outside it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch_sim.carbonate import (
    activity,
    alkalinity_of,
    dissolved_co2,
    p_k1,
    p_k2,
    p_kw,
    ph_of,
)
from roewatch_sim.water import Pouring, TankWater, WaterSpec

PUBLISHED_PK = [  # °C, pK1 (Harned, Davis 1943), pK2 (Harned, Scholes 1941)
    (5, 6.517, 10.557),
    (15, 6.419, 10.430),
    (20, 6.381, 10.377),
    (25, 6.352, 10.329),
    (30, 6.327, 10.290),
]


@pytest.mark.parametrize(("celsius", "k1", "k2"), PUBLISHED_PK)
def test_constants_agree_with_the_measured_ones(celsius: float, k1: float, k2: float) -> None:
    assert p_k1(celsius) == pytest.approx(k1, abs=0.002)
    assert p_k2(celsius) == pytest.approx(k2, abs=0.004)


def test_water_itself_ionises_as_handbooks_say() -> None:
    assert p_kw(25.0) == pytest.approx(13.995, abs=0.002)  # handbook value


AIRED = [  # alkalinity meq/L, CO2 of the air µatm, pH at 25 °C
    # water-chemistry notes, section 3, computed there with the full ion balance of NaHCO3 water
    (0.01, 420, 6.22),
    (0.02, 800, 6.23),
    (0.05, 420, 6.89),
    (0.10, 1000, 6.82),
    (0.20, 420, 7.49),
    (0.357, 800, 7.46),
    (1.0, 420, 8.17),
    (4.0, 420, 8.74),
    (4.0, 2000, 8.08),
]


@pytest.mark.parametrize(("alkalinity", "uatm", "ph"), AIRED)
def test_water_in_balance_with_air_has_the_tabulated_ph(
    alkalinity: float, uatm: float, ph: float
) -> None:
    co2 = dissolved_co2(25.0, uatm)
    assert ph_of(alkalinity, co2, 25.0, activity(alkalinity)) == pytest.approx(ph, abs=0.02)


@pytest.mark.parametrize(("uatm", "ph"), [(420, 5.60), (1000, 5.41)])
def test_pure_water_in_air_is_sour(uatm: float, ph: float) -> None:
    # water-chemistry notes, section 3: "Pure water: 5.60 at 420, 5.41 at 1000"
    assert ph_of(0.0, dissolved_co2(25.0, uatm), 25.0) == pytest.approx(ph, abs=0.01)


ACID = [  # HCl mmol/L into alkalinity 0.345 meq/L, pH once aired at 26 °C and 631 µatm
    (0.10, 7.40),
    (0.20, 7.17),
    (0.30, 6.67),
    (0.33, 6.21),
    (0.345, 5.51),
    (0.36, 4.82),
]


@pytest.mark.parametrize(("acid", "ph"), ACID)
def test_acid_lowers_aired_water_as_tabulated(acid: float, ph: float) -> None:
    # water-chemistry notes, section 6
    co2 = dissolved_co2(26.0, 631)
    assert ph_of(0.345 - acid, co2, 26.0, activity(0.4)) == pytest.approx(ph, abs=0.03)


@given(
    alkalinity=st.floats(-0.2, 4.0),
    uatm=st.floats(300, 20_000),
    celsius=st.floats(4, 36),
)
def test_alkalinity_and_ph_are_each_others_inverse(
    alkalinity: float, uatm: float, celsius: float
) -> None:
    co2 = dissolved_co2(celsius, uatm)
    ph = ph_of(alkalinity, co2, celsius, 0.97)
    back = ph_of(alkalinity_of(ph, co2, celsius, 0.97), co2, celsius, 0.97)
    assert back == pytest.approx(ph, abs=0.001)


@given(st.floats(-0.1, 3.0), st.floats(0.001, 0.5))
def test_more_carbon_dioxide_is_never_less_acid(alkalinity: float, co2: float) -> None:
    assert ph_of(alkalinity, co2 * 1.1, 25.0) <= ph_of(alkalinity, co2, 25.0) + 1e-12


def water(ph: float = 6.8) -> TankWater:
    return TankWater(WaterSpec(ph=ph), 25.0, 40.0)


def test_water_starts_at_the_ph_it_was_built_with() -> None:
    assert water(6.4).ph(25.0) == pytest.approx(6.4, abs=0.001)


def test_acid_dips_the_ph_at_once_and_it_bounces_back_part_of_the_way() -> None:
    # water-chemistry notes, section 6: closed pH after a dose lies below the aired pH
    tank = water(7.0)
    before = tank.ph(25.0)
    tank.pouring.append(Pouring(at_ms=0, until_ms=60_000, acid_meq=tank.alkalinity / 2))
    tank.pour(60_000, 60.0, 25.0)
    dip = tank.ph(25.0)
    for _ in range(24 * 60):
        tank.advance(25.0, 60.0, light=False)
    settled = tank.ph(25.0)
    assert dip < settled < before
    assert before - settled == pytest.approx(0.30, abs=0.05)  # half the buffer: log10(2)


def test_a_water_change_mixes_heat_salts_and_alkalinity_by_volume() -> None:
    tank = water()
    new = Pouring(
        at_ms=0, until_ms=600_000, share=0.25, celsius=17.0, alkalinity=1.0, conductivity=260.0
    )
    alkalinity, celsius = tank.alkalinity, 25.0
    tank.pouring.append(new)
    for minute in range(1, 11):
        celsius = tank.pour(minute * 60_000, 60.0, celsius)
    assert celsius == pytest.approx(0.75 * 25 + 0.25 * 17)
    assert tank.conductivity == pytest.approx(0.75 * 60 + 0.25 * 260)
    assert tank.alkalinity == pytest.approx(0.75 * alkalinity + 0.25 * 1.0)
    assert tank.pouring == []


def test_evaporation_thickens_what_is_dissolved() -> None:
    # trade notes, section 7: open 20 L loses 1.9 % a day; after 7 days conductivity x 1.15
    tank = TankWater(WaterSpec(ph=6.8, vapour_share_day=0.0185), 25.0, 20.0)
    for _ in range(7 * 24):
        tank.age(1.0)
    assert tank.conductivity / 60 == pytest.approx(1.15, abs=0.02)
    assert tank.litres == pytest.approx(17.4, abs=0.2)


def test_still_water_holds_its_carbon_dioxide_longer() -> None:
    aired, still = water(), water()
    still.aerated = False
    aired.co2 = still.co2 = 0.2
    for _ in range(90):
        aired.advance(25.0, 60.0, light=False)
        still.advance(25.0, 60.0, light=False)
    assert still.ph(25.0) < aired.ph(25.0) - 0.2
