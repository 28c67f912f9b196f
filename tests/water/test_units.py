"""Units there and back, conductivity compensation, and reading between points."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.water import conductivity, curve, hardness, unit
from roewatch.water.conductivity import Salt, Standard
from roewatch.water.hardness import Degree
from roewatch.water.refusal import RefusedError
from roewatch.water.unit import Measure


@given(st.floats(0, 1000), st.sampled_from(Degree), st.sampled_from(Degree))
def test_hardness_there_and_back_is_the_same_number(value: float, a: Degree, b: Degree) -> None:
    assert hardness.converted(hardness.converted(value, a, b), b, a) == pytest.approx(value)


@given(st.floats(-50, 150))
def test_degrees_there_and_back_are_the_same(celsius: float) -> None:
    back = unit.celsius_of_fahrenheit(unit.fahrenheit_of_celsius(celsius))
    assert back == pytest.approx(celsius)


@given(st.floats(0, 1e5), st.sampled_from(Measure))
def test_volumes_there_and_back_are_the_same(value: float, measure: Measure) -> None:
    assert unit.measured(unit.litres(value, measure), measure) == pytest.approx(value)


@given(st.floats(0, 5000), st.floats(0, 36))
def test_compensation_there_and_back_is_the_same(value: float, celsius: float) -> None:
    raw = conductivity.raw_at(conductivity=value, celsius=celsius)
    assert conductivity.at_25(raw=raw, celsius=celsius) == pytest.approx(value)


# value, from, to, answer. Source: the definitions (1 °dH = 10 mg CaO/L; 1 °fH = 10 mg/L CaCO3;
# 1 °Clark = 1 grain in an imperial gallon)
DEFINED = [
    (1.0, Degree.FRENCH, Degree.GERMAN, 0.5603),
    (1.0, Degree.MEQ, Degree.GERMAN, 2.804),
    (1.0, Degree.ENGLISH, Degree.CACO3, 14.25),
    (10.0, Degree.GERMAN, Degree.FRENCH, 17.848),
    (1.0, Degree.MMOL, Degree.GERMAN, 5.608),
]


@pytest.mark.parametrize(("value", "given_in", "wanted", "answer"), DEFINED)
def test_hardness_degrees_follow_their_definitions(
    value: float, given_in: Degree, wanted: Degree, answer: float
) -> None:
    assert hardness.converted(value, given_in, wanted) == pytest.approx(answer, rel=1e-3)


def test_a_water_report_of_72_calcium_and_26_magnesium_is_16_degrees() -> None:
    assert hardness.dgh_of_metals(calcium=72, magnesium=26) == pytest.approx(16.1, abs=0.1)
    with pytest.raises(RefusedError, match="below zero"):
        hardness.dgh_of_metals(calcium=-1, magnesium=0)


def test_gallons_are_told_apart() -> None:
    assert unit.litres(10, Measure.US_GALLON) == pytest.approx(37.854, abs=0.001)
    assert unit.litres(10, Measure.IMPERIAL_GALLON) == pytest.approx(45.461, abs=0.001)


# °C, factor. Source: ISO 7888 / EN 27888 table as a meter maker reprints it
ISO_7888 = [(22, 1.067), (24, 1.021), (26, 0.979), (28, 0.940)]


@pytest.mark.parametrize(("celsius", "factor"), ISO_7888)
def test_compensation_is_that_of_iso_7888(celsius: float, factor: float) -> None:
    assert conductivity.factor_25(celsius) == pytest.approx(factor, abs=0.001)


def test_the_straight_line_rule_errs_by_two_percent_at_most_in_a_fish_room() -> None:
    for celsius in range(5, 33):
        straight = conductivity.at_25_linear(raw=100.0, celsius=celsius)
        assert straight == pytest.approx(conductivity.at_25(raw=100.0, celsius=celsius), rel=0.0195)


def test_the_misprinted_end_of_the_84_standard_is_not_read_between() -> None:
    # at 0 °C the table prints 53.02; KCl keeps 772.92/1408.23 of its 25 °C value (Pratt 2001): 46.1
    printed = conductivity.of_standard(Standard.KCL_84, 0.0)
    by_kcl = 84.0 * 772.92 / 1408.23
    at_five = 84.0 * 890.96 / 1408.23
    assert abs(printed - by_kcl) > 5.0
    assert printed == pytest.approx(at_five, abs=0.3)
    with pytest.raises(RefusedError, match="cannot be trusted"):
        conductivity.of_standard(Standard.KCL_84, 5.0)


def test_solids_depend_on_the_salt_they_pretend() -> None:
    # 1413 µS/cm is 702 mg/L as NaCl and 1000 as "442"
    as_salt = conductivity.solids(conductivity=1413.0, salt=Salt.NACL)
    as_442 = conductivity.solids(conductivity=1413.0, salt=Salt.MIX_442)
    assert as_salt == pytest.approx(702.1)
    assert as_442 == pytest.approx(1000.0)


points = st.lists(st.tuples(st.floats(0.1, 3), st.floats(0.1, 3)), min_size=2, max_size=8)


@given(points, st.floats(0, 1))
def test_a_smooth_curve_through_rising_points_never_overshoots(
    steps: list[tuple[float, float]], share: float
) -> None:
    xs, ys = [0.0], [0.0]
    for dx, dy in steps:
        xs.append(xs[-1] + dx)
        ys.append(ys[-1] + dy)
    x = share * xs[-1]
    y = curve.read_smooth(xs, ys, x)
    i = max(j for j, point in enumerate(xs) if point <= x)
    assert ys[i] - 1e-9 <= y <= ys[min(i + 1, len(ys) - 1)] + 1e-9


def test_a_curve_meets_its_points_and_ends_at_its_ends() -> None:
    xs, ys = [0.0, 1.0, 3.0], [5.0, 4.0, 0.0]
    assert [curve.read_smooth(xs, ys, x) for x in xs] == pytest.approx(ys)
    with pytest.raises(RefusedError):
        curve.read_smooth(xs, ys, 3.1)
    with pytest.raises(RefusedError):
        curve.read_between(xs, ys, -0.1)
