"""Sentences of the core, read in other units."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.breeding.pace import Followed, Pace
from roewatch.judging.cycle import Cycle
from roewatch.judging.heater_text import heater_text
from roewatch.judging.limits import Limits
from roewatch.room.kind import Kind
from roewatch.room.measured import (
    TO,
    carbonate_hardness,
    litres,
    measured,
    temperature,
    warmer,
)
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.views.sentence import sentence
from roewatch.views.units import KEPT_UNITS, Units
from roewatch.water.refusal import RefusedError, within

F = Units(fahrenheit=True)
GALLONS = Units(gallons=True)
PPM = Units(ppm=True)
EVERY = Units(fahrenheit=True, gallons=True, ppm=True)

TEMPERATURES = [  # °C, °F: NIST SP 811 (2008), B.9: t/°F = 1.8 t/°C + 32
    (0.0, "32.0"),
    (100.0, "212.0"),
    (37.0, "98.6"),
    (-40.0, "-40.0"),
    (-17.8, "0.0"),  # -0.04
    (26.4, "79.5"),
]
DIFFERENCES = [  # °C, °F: NIST SP 811 (2008), B.9: an interval of 1 °C is one of 1.8 °F
    (1.0, "1.8"),
    (10.0, "18.0"),
    (0.5, "0.9"),
    (-0.5, "-0.9"),
]


@pytest.mark.parametrize(("celsius", "fahrenheit"), TEMPERATURES)
def test_a_temperature_is_told_in_degrees_fahrenheit(celsius: float, fahrenheit: str) -> None:
    assert sentence(f"{temperature(celsius)} now", F) == f"{fahrenheit}\u00a0°F now"


@pytest.mark.parametrize(("celsius", "fahrenheit"), DIFFERENCES)
def test_a_difference_and_a_rate_are_told_as_differences(celsius: float, fahrenheit: str) -> None:
    assert sentence(f"by {warmer(celsius)} again", F) == f"by {fahrenheit}\u202f°F again"
    assert sentence(f"falling {warmer(celsius)}/h", F) == f"falling {fahrenheit}\u202f°F/h"


OTHERS = [  # written, units, read, source
    (litres(100), GALLONS, "26.4 US gal", "1 US gal is 3.785412 L: NIST SP 811 (2008), B.8"),
    (litres(3.785, "g"), GALLONS, "0.9999 US gal", "the same"),
    (carbonate_hardness(1, ".3f"), PPM, "17.85 ppm CaCO3", "10 mg CaO/L, IUPAC 2021 weights"),
    (measured("8", "°dGH"), PPM, "143 ppm CaCO3", "the same: 142.8"),
]


@pytest.mark.parametrize(("written", "units", "read", "source"), OTHERS)
def test_volumes_and_hardness_are_told_in_the_units_chosen(
    written: str, units: Units, read: str, source: str
) -> None:
    assert sentence(written, units).replace("\u00a0", " ") == read, source
    assert sentence(written, F) == written


def test_an_alarm_is_told_whole_its_window_and_its_rate_as_well() -> None:
    said = heater_text(Kind.HEATER_DEAD, 24.1, -0.6, Cycle(Limits()), 40 * 60_000)
    read = sentence(said, F)
    assert read.startswith("75.4\u00a0°F, falling 1.1\u202f°F/h; ")
    assert "°C" not in read
    assert sentence("window 24.0-27.0\u00a0°C", F) == "window 75.2-80.6\u00a0°F"


def test_a_pace_is_told_as_a_difference_and_never_larger_than_it_is() -> None:
    pace = Pace(followed=Followed.TEMPERATURE, span_ms=HOUR_MS, rise=0.6, fall=1.0)
    assert sentence(pace.text(), F) == (
        "temperature at most 1.0\u202f°F up and at most 1.8\u202f°F down in 1 h"
    )
    assert sentence(f"(limit {warmer(0.6)} in 1 h)", F) == "(limit 1.0\u202f°F in 1 h)"
    hard = Pace(followed=Followed.CARBONATE, span_ms=DAY_MS, rise=1.0, fall=0.5)
    assert "at most 17\u202fppm CaCO3 up and at most 8\u202fppm" in sentence(hard.text(), PPM)


def test_a_refusal_names_the_bounds_in_the_units_that_were_typed() -> None:
    with pytest.raises(RefusedError) as refused:
        within(40.0, 10.0, 36.0, what="wanted temperature", unit="°C")
    assert sentence(str(refused.value), F) == (
        "wanted temperature is 104.0\u00a0°F; this works from 50.0\u00a0to\u00a096.8\u00a0°F. "
        "Check the reading and its unit."
    )


def test_a_rough_value_is_not_told_more_exactly_than_it_is() -> None:
    assert sentence(f"at about {temperature(31, '.0f')}", F) == "at about 88\u00a0°F"
    assert sentence(f"passes {temperature(31, 'g')}", F) == "passes 87.8\u00a0°F"


def test_a_number_typed_in_the_other_unit_is_told_as_it_was_typed() -> None:
    with pytest.raises(RefusedError) as refused:
        within((200.0 - 32.0) / 1.8, 0.0, 50.0, what="temperature of rain", unit="°C")
    assert "rain is 200.0\u00a0°F;" in sentence(str(refused.value), F)
    assert sentence(litres(1.1 * 3.785411784), GALLONS) == "1.10\u00a0US gal"
    assert sentence(carbonate_hardness(20 / 17.848), PPM) == "20\u00a0ppm CaCO3"


STAY = [  # what cannot be read whole stays as it is
    "24.1 °C, falling 0.42 °C an hour",  # stored by an older program
    f"{temperature(24.1)}, as noted: 24 °C at the glass",  # a person's own words within
    f"{temperature(24.1)} and 25°C",
    f"{temperature(24.1)}, cooled by two degrees or 2 degrees",
    f"offset +0.100 °C; it was {warmer(0.2)} off",
    f"reads {measured('1e+30', '°C')}",
    "48 µS/cm at pH 5.31",
    "",
]


@pytest.mark.parametrize("said", STAY)
def test_a_sentence_that_cannot_be_read_whole_keeps_its_units_throughout(said: str) -> None:
    assert sentence(said, F) == said


def test_each_measure_is_read_by_itself_and_a_flow_is_none() -> None:
    said = f"{temperature(25)} in 20 L, {measured('120', 'L/h')}, {measured('2.0', 'mg/L')}"
    assert sentence(said, EVERY).replace("\u00a0", " ") == "77.0 °F in 20 L, 120 L/h, 2.0 mg/L"


NUMBERS = st.integers(-400, 1000).map(lambda tenths: tenths / 10)
WRITTEN = st.one_of(
    NUMBERS.map(temperature),
    NUMBERS.map(warmer),
    NUMBERS.map(lambda c: f"{warmer(c, '+.1f')}/h"),
    st.integers(0, 1000).map(litres),
    st.integers(0, 50).map(carbonate_hardness),
    st.tuples(NUMBERS, st.integers(1, 100)).map(
        lambda t: measured(f"{t[0]:.1f}{TO}{t[0] + t[1]:.1f}", "°C")
    ),
    st.sampled_from(["at most", "at least", "about", "A1:", "pH 5.31", "(", "rising", "26.4 °C"]),
)
CHOSEN = st.builds(Units, fahrenheit=st.booleans(), ppm=st.booleans(), gallons=st.booleans())


@given(st.lists(WRITTEN, max_size=6).map(" ".join), CHOSEN)
def test_what_was_read_is_not_read_again(said: str, units: Units) -> None:
    once = sentence(said, units)
    assert sentence(once, units) == once
    assert sentence(said, KEPT_UNITS) == said
    if "°F" in once:
        assert "°C" not in once


@given(NUMBERS)
def test_what_is_told_in_fahrenheit_is_the_same_warmth_within_its_rounding(celsius: float) -> None:
    value = float(sentence(temperature(celsius), F).partition("\u00a0")[0])
    assert abs((value - 32) / 1.8 - celsius) <= 0.05 / 1.8 + 1e-9
    apart = float(sentence(warmer(celsius), F).partition("\u202f")[0])
    assert abs(apart / 1.8 - celsius) <= 0.05 / 1.8 + 1e-9


@given(NUMBERS, st.integers(1, 400), st.sampled_from(["-", TO]))
def test_a_band_is_never_told_wider_nor_a_limit_looser_than_it_is(
    low: float, tenths: int, to: str
) -> None:
    high = low + tenths / 10
    told = sentence(f"window {measured(f'{low:.1f}{to}{high:.1f}', '°C')}", F)
    ends = re.findall(r"(?<![\d.])-?\d+\.\d", told)
    assert (float(ends[0]) - 32) / 1.8 >= low - 1e-6
    assert (float(ends[1]) - 32) / 1.8 <= high + 1e-6
    for word, way in (("at most", 1), ("at least", -1)):
        limit = float(sentence(f"{word} {warmer(low)}", F).split()[2])
        assert way * limit / 1.8 <= way * low + 1e-6
