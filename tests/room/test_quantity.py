"""Quantities and their units."""

import pytest

from roewatch.room.quantity import Quantity, conversion, shown, to_kept

KNOWN = [  # quantity, given, unit, kept, source
    (Quantity.TEMPERATURE, 77.0, "°F", 25.0, "definition of the Fahrenheit scale"),
    (Quantity.TEMPERATURE, 298.15, "K", 25.0, "definition of the Celsius scale"),
    (Quantity.TEMPERATURE, 25.0, "Cel", 25.0, "RFC 8428 section 12.1, unit Cel"),
    (Quantity.CONDUCTIVITY, 0.0084, "S/m", 84.0, "1 S/m is 10 000 µS/cm"),
    (Quantity.CONDUCTIVITY, 1.413, "mS/cm", 1413.0, "the 1413 µS/cm standard"),
    (Quantity.FLOW, 2.0, "L/min", 120.0, "60 minutes an hour"),
    (Quantity.AMMONIA_TOTAL, 1.2878, "mg/L NH4", 1.0, "18.039 / 14.007, IUPAC weights"),
]


@pytest.mark.parametrize(("quantity", "given", "unit", "kept", "source"), KNOWN)
def test_units_become_the_kept_one(
    quantity: Quantity, given: float, unit: str, kept: float, source: str
) -> None:
    assert to_kept(quantity, given, unit) == pytest.approx(kept, rel=1e-6), source


def test_a_unit_of_something_else_is_refused_with_those_that_fit() -> None:
    with pytest.raises(ValueError, match="does not measure temperature; use one of: c, f, k"):
        conversion(Quantity.TEMPERATURE, "mV")


def test_people_see_a_value_with_its_unit() -> None:
    assert shown(Quantity.PH, 5.307) == "pH 5.31"
    assert shown(Quantity.TEMPERATURE, 26.44) == "26.4\u00a0°C"
