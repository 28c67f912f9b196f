"""The carbonate balance by its own laws, and where it refuses."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.water import carbonate, dioxide, equilibrium
from roewatch.water.hardness import meq_of_dkh
from roewatch.water.ions import Ions
from roewatch.water.refusal import RefusedError

ions = st.builds(
    Ions,
    calcium=st.floats(0, 5),
    magnesium=st.floats(0, 3),
    sodium=st.floats(0, 10),
    chloride=st.floats(0, 10),
    sulphate=st.floats(0, 4),
)
celsius = st.floats(0, 50)


@settings(max_examples=300, deadline=None)
@given(st.floats(-5, 15), st.floats(0, 15), celsius, ions)
def test_the_closed_solver_settles_everywhere(
    alkalinity: float, dic: float, t: float, dissolved: Ions
) -> None:
    found = carbonate.closed(alkalinity=alkalinity, dic=dic, celsius=t, ions=dissolved)
    assert found.dic == pytest.approx(dic, rel=1e-6, abs=1e-9)


@settings(max_examples=300, deadline=None)
@given(st.floats(-5, 15), st.floats(10, 50_000), celsius, ions)
def test_the_open_solver_settles_everywhere(
    alkalinity: float, pco2: float, t: float, dissolved: Ions
) -> None:
    found = carbonate.aired(alkalinity=alkalinity, pco2=pco2, celsius=t, ions=dissolved)
    assert found.pco2 == pytest.approx(pco2, rel=1e-6)


@settings(deadline=None)
@given(st.floats(0.05, 10), st.floats(6.0, 9.0), st.floats(0, 40), ions)
def test_ph_to_carbon_and_back_is_the_same_ph(
    alkalinity: float, ph: float, t: float, dissolved: Ions
) -> None:
    found = carbonate.of_ph(ph=ph, alkalinity=alkalinity, celsius=t, ions=dissolved)
    closed = carbonate.closed(alkalinity=alkalinity, dic=found.dic, celsius=t, ions=dissolved)
    assert closed.ph == pytest.approx(ph, abs=1e-5)
    if found.pco2 <= 100_000.0:
        aired = carbonate.aired(alkalinity=alkalinity, pco2=found.pco2, celsius=t, ions=dissolved)
        assert aired.ph == pytest.approx(ph, abs=1e-5)


@settings(deadline=None)
@given(st.floats(4.0, 9.0), st.floats(100, 5000), st.floats(0, 40), ions)
def test_alkalinity_for_a_ph_gives_that_ph(
    ph: float, pco2: float, t: float, dissolved: Ions
) -> None:
    alkalinity = carbonate.alkalinity_for_aired_ph(ph=ph, pco2=pco2, celsius=t, ions=dissolved)
    if alkalinity > 60.0:
        return
    found = carbonate.aired(alkalinity=alkalinity, pco2=pco2, celsius=t, ions=dissolved)
    assert found.ph == pytest.approx(ph, abs=1e-5)


@settings(deadline=None)
@given(st.floats(0.0, 5.0), st.floats(300, 3000), st.floats(300, 3000), celsius)
def test_more_carbon_dioxide_in_the_air_never_raises_ph(
    alkalinity: float, one: float, other: float, t: float
) -> None:
    low, high = sorted((one, other))
    water = Ions(sodium=alkalinity)
    below = carbonate.aired(alkalinity=alkalinity, pco2=low, celsius=t, ions=water)
    above = carbonate.aired(alkalinity=alkalinity, pco2=high, celsius=t, ions=water)
    assert above.ph <= below.ph + 1e-7


# alkalinity meq/L of sodium bicarbonate at 25 °C, CO2 µatm, pH. Source: PHREEQC, phreeqc.dat.
AIRED = [
    (0.01, 420, 6.22), (0.01, 2000, 5.61), (0.02, 600, 6.35), (0.05, 800, 6.61),
    (0.10, 1000, 6.82), (0.20, 420, 7.49), (0.357, 600, 7.58), (1.0, 1000, 7.80),
    (4.0, 420, 8.74), (4.0, 2000, 8.08), (0.0, 420, 5.60), (0.0, 1000, 5.41),
]  # fmt: skip


@pytest.mark.parametrize(("alkalinity", "pco2", "ph"), AIRED)
def test_aired_ph_is_that_of_the_reference_table(alkalinity: float, pco2: float, ph: float) -> None:
    found = carbonate.aired(
        alkalinity=alkalinity, pco2=pco2, celsius=25.0, ions=Ions(sodium=alkalinity)
    )
    assert found.ph == pytest.approx(ph, abs=0.008)


# A of the Davies equation at °C. Source: Debye-Hückel slope as tabulated in water chemistry texts.
@pytest.mark.parametrize(("t", "slope"), [(5, 0.495), (15, 0.503), (25, 0.511)])
def test_the_davies_slope_is_the_books(t: float, slope: float) -> None:
    assert equilibrium.constants(t).davies_a == pytest.approx(slope, abs=0.0015)


# singly charged, mol/L, activity coefficient. Source: Davies 1962 with 0.3, as texts tabulate it
DAVIES = [(0.001, 0.965), (0.01, 0.902), (0.05, 0.821), (0.1, 0.781)]


@pytest.mark.parametrize(("strength", "activity"), DAVIES)
def test_activity_is_that_of_davies(strength: float, activity: float) -> None:
    slope = equilibrium.constants(25.0).davies_a
    found = 10.0 ** equilibrium.log_activity(strength, slope)
    assert found == pytest.approx(activity, abs=0.0015)


# log10 of formation at 25 °C. Source: Plummer and Busenberg 1982 (calcium pairs); the log_k lines
# of phreeqc.dat, less 10.329 for the bicarbonate ones
PAIRS = [
    ("ca_hco3", 1.106), ("ca_co3", 3.224), ("mg_hco3", 1.07), ("mg_co3", 2.98),
    ("ca_so4", 2.25), ("mg_so4", 2.37), ("hso4", 1.988),
]  # fmt: skip


@pytest.mark.parametrize(("name", "log_k"), PAIRS)
def test_the_pairs_form_as_published(name: str, log_k: float) -> None:
    found = math.log10(getattr(equilibrium.constants(25.0), name))
    assert found == pytest.approx(log_k, abs=0.002)


def test_ph_of_over_acidified_water_says_nothing_of_carbon() -> None:
    with pytest.raises(RefusedError, match="says nothing about"):
        carbonate.of_ph(ph=4.7, alkalinity=-0.02, celsius=12.0, ions=Ions())


def test_a_high_ph_without_the_alkalinity_for_it_is_a_misreading() -> None:
    with pytest.raises(RefusedError, match="cannot both be right"):
        carbonate.of_ph(ph=10.5, alkalinity=0.1, celsius=25.0, ions=Ions())


def test_sea_water_is_refused() -> None:
    salt = Ions(sodium=95.0, chloride=95.0, calcium=10.0, sulphate=28.0, magnesium=53.0)
    with pytest.raises(RefusedError, match="not for brackish or marine"):
        carbonate.aired(alkalinity=2.3, pco2=420.0, celsius=25.0, ions=salt)


# dKH, °C, CO2 (mg/L) x 10^(pH - 7) / dKH. Source: PHREEQC, water as hard as it is
# alkaline.
CONSTANT = [
    (1.0, 25, 3.42), (3.0, 25, 3.35), (6.0, 25, 3.28), (12.0, 25, 3.18),
    (1.4, 18, 3.77), (1.4, 22, 3.55), (1.4, 26, 3.37), (1.4, 30, 3.23),
]  # fmt: skip


@pytest.mark.parametrize(("dkh", "t", "constant"), CONSTANT)
def test_the_true_constant_stands_where_the_rule_of_three_is_used(
    dkh: float, t: float, constant: float
) -> None:
    found = dioxide.from_kh(ph=7.0, dkh=dkh, dgh=dkh, celsius=t)
    assert found.mg / dkh == pytest.approx(constant, rel=0.012)
    assert found.low < found.mg < found.high


@pytest.mark.parametrize(
    ("ph", "dkh", "tannin", "phosphate"),
    [(5.9, 2.0, False, False), (6.5, 0.9, False, False), (7.0, 3.0, True, False),
     (7.0, 3.0, False, True)],
)  # fmt: skip
def test_the_dioxide_sum_is_refused_where_it_misleads(
    ph: float, dkh: float, tannin: bool, phosphate: bool
) -> None:
    with pytest.raises(RefusedError, match="too"):
        dioxide.from_kh(ph=ph, dkh=dkh, celsius=25.0, tannin=tannin, phosphate=phosphate)


def test_dioxide_at_rest_with_outdoor_air_is_about_two_thirds_of_a_milligram() -> None:
    # Henry's law at 25 °C: 10^-1.468 mol/kg/atm x 420 µatm x 44.01 g/mol (Weiss 1974)
    assert dioxide.resting(pco2=420.0, celsius=25.0) == pytest.approx(0.629, abs=0.005)


def test_the_worked_tap_water_holds_the_carbon_phreeqc_says() -> None:
    # PHREEQC: pH 7.80, 15 °C, alkalinity 3.0 meq/L, Ca 1.2, Mg 0.3 mmol/kg
    found = carbonate.of_ph(
        ph=7.8, alkalinity=3.0, celsius=15.0, ions=Ions(calcium=1.2, magnesium=0.3)
    )
    assert found.bicarbonate == pytest.approx(2.9294, rel=0.001)
    assert found.co2 == pytest.approx(0.11359, rel=0.005)
    assert meq_of_dkh(1.0) == pytest.approx(0.3567, abs=1e-4)
