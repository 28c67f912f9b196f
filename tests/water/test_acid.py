"""Acid: the dose, the bounce, and when the sum on paper must not be used."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.water import acid, carbonate, titration
from roewatch.water.ions import Ions
from roewatch.water.refusal import RefusedError
from roewatch.water.source import Makeup
from roewatch.water.titration import BenchStep

# alkalinity 0.345 meq/L at 26 °C and 631 µatm; HCl meq/L, pH stirred in, pH aired.
# Source: PHREEQC (phreeqc.dat) on a blend of 10 % tap and 90 % RO.
BOUNCE = [
    (0.00, 7.00, 7.55), (0.10, 6.48, 7.40), (0.20, 6.06, 7.17), (0.25, 5.81, 6.99),
    (0.30, 5.45, 6.67), (0.33, 5.10, 6.21), (0.345, 4.87, 5.51), (0.36, 4.64, 4.82),
]  # fmt: skip


def thin(ph: float = 7.00, alkalinity: float = 0.345) -> Makeup:
    ions = Ions(calcium=0.12, magnesium=0.03, sodium=0.045)
    found = carbonate.of_ph(ph=ph, alkalinity=alkalinity, celsius=26.0, ions=ions)
    return Makeup(celsius=26.0, alkalinity=alkalinity, dic=found.dic, ions=ions, conductivity=40.0)


@pytest.mark.parametrize(("dose", "at_once", "aired"), BOUNCE)
def test_the_dip_and_the_bounce_are_those_phreeqc_gives(
    dose: float, at_once: float, aired: float
) -> None:
    found = acid.of_dose(thin(), dose=dose, pco2=631.0)
    assert found.at_once.ph == pytest.approx(at_once, abs=0.02)
    # at 0.345 meq/L the true remainder is the rounding of the printed alkalinity
    assert found.after_air.ph == pytest.approx(aired, abs=0.03)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5), st.floats(6.0, 8.3))
def test_more_acid_never_raises_closed_ph(one: float, other: float, ph: float) -> None:
    less, more = sorted((one, other))
    water = thin(ph=ph)
    assert (
        acid.acidified(water, dose=more).closed().ph
        <= acid.acidified(water, dose=less).closed().ph + 1e-7
    )


@settings(deadline=None)
@given(st.floats(6.9, 7.5))
def test_the_dose_for_a_ph_lands_on_it_once_aired(ph: float) -> None:
    found = acid.for_ph(thin(), ph=ph, pco2=631.0)
    assert found.after_air.ph == pytest.approx(ph, abs=1e-3)
    assert found.at_once.ph < found.after_air.ph


def test_sulphuric_acid_takes_half_the_moles_and_the_same_alkalinity() -> None:
    by_hcl = acid.of_dose(thin(), dose=0.2)
    by_sulphuric = acid.of_dose(thin(), dose=0.2, acid=acid.Acid.SULPHURIC)
    assert by_sulphuric.after_air.ph == pytest.approx(by_hcl.after_air.ph, abs=0.01)


def test_a_dose_on_the_edge_of_no_alkalinity_is_refused_for_the_bench() -> None:
    with pytest.raises(RefusedError, match="Titrate one litre"):
        acid.for_ph(thin(), ph=6.0, pco2=631.0)


def test_acid_is_not_offered_to_raise_ph() -> None:
    with pytest.raises(RefusedError, match="already rests"):
        acid.for_ph(thin(), ph=8.0)


def test_days_of_dosing_never_fall_faster_than_allowed_and_add_up() -> None:
    days = acid.in_days(thin(), dose=0.30, fall_per_day=0.3, pco2=631.0)
    assert sum(day.dose for day in days) == pytest.approx(0.30)
    assert all(day.before.ph - day.at_once.ph <= 0.3 + 1e-6 for day in days)
    assert days[-1].after_air.ph == pytest.approx(6.67, abs=0.03)


def test_bottled_hydrochloric_acid_of_37_percent_is_12_normal() -> None:
    # the trade's own figure for concentrated acid, 1.19 kg/L: 12.1 mol/L
    found = acid.normality(acid.Acid.HYDROCHLORIC, percent_by_weight=37.0, kg_per_litre=1.19)
    assert found == pytest.approx(12.1, abs=0.05)


def test_strong_acid_is_not_measured_in_drops() -> None:
    with pytest.raises(RefusedError, match="acid into water"):
        acid.millilitres(dose=0.2, litres=40.0, normal=12.1)
    assert acid.millilitres(dose=0.2, litres=40.0, normal=0.1) == pytest.approx(80.0)


def bench(*pairs: tuple[float, float]) -> list[BenchStep]:
    return [BenchStep(ml=ml, ph=ph) for ml, ph in pairs]


GOOD = bench((0, 7.2), (2, 6.9), (4, 6.65), (6, 6.42), (8, 6.2), (10, 5.95))


def test_a_bench_series_becomes_a_dose_half_today() -> None:
    found = titration.dose(GOOD, ph=6.42, litres=54.0)
    assert found.per_litre == pytest.approx(6.0)
    assert found.total == pytest.approx(324.0)
    assert found.first_half == pytest.approx(162.0)


@given(st.floats(5.95, 7.2))
def test_the_bench_curve_never_leaves_the_two_steps_around_it(ph: float) -> None:
    found = titration.dose(GOOD, ph=ph, litres=1.0)
    around = [(a.ml, b.ml) for a, b in itertools.pairwise(GOOD) if b.ph <= ph <= a.ph]
    assert any(low - 1e-9 <= found.per_litre <= high + 1e-9 for low, high in around)


@pytest.mark.parametrize(
    ("steps", "ph", "reason"),
    [
        (GOOD[:4], 6.7, "needs 5"),
        (GOOD, 5.5, "never guessed"),
        (bench((0, 7.2), (2, 6.9), (4, 7.1), (6, 6.4), (8, 6.2)), 6.5, "had not settled"),
        (bench((1, 7.2), (2, 6.9), (4, 6.7), (6, 6.4), (8, 6.2)), 6.5, "must be 0 mL"),
    ],
)
def test_a_bad_bench_series_is_refused(steps: list[BenchStep], ph: float, reason: str) -> None:
    with pytest.raises(RefusedError, match=reason):
        titration.dose(steps, ph=ph, litres=54.0)


@pytest.mark.parametrize("alkalinity", [0.03, 0.1, 0.35])
def test_gran_finds_the_alkalinity_of_thin_water(alkalinity: float) -> None:
    # the series is titrated in the solver itself, aired, which PHREEQC agrees with elsewhere
    readings = []
    for step in range(1, 60):
        ml = step * 0.5
        left = (alkalinity * 200.0 - ml * 10.0) / (200.0 + ml)
        ions = Ions(sodium=alkalinity)
        ph = carbonate.aired(alkalinity=left, pco2=420.0, celsius=20.0, ions=ions).ph
        readings.append(BenchStep(ml=ml, ph=ph))
    found = titration.gran_alkalinity(readings, sample_ml=200.0, acid_normality=0.01)
    assert found == pytest.approx(alkalinity, abs=0.004)
