"""A unit: degrees of temperature and measures of volume a keeper may use."""

from enum import StrEnum

KELVIN_AT_0C = 273.15


def kelvin(celsius: float) -> float:
    """Kelvin of °C."""
    return celsius + KELVIN_AT_0C


def celsius_of_fahrenheit(fahrenheit: float) -> float:
    """°C of °F."""
    return (fahrenheit - 32.0) * 5.0 / 9.0


def fahrenheit_of_celsius(celsius: float) -> float:
    """°F of °C."""
    return celsius * 9.0 / 5.0 + 32.0


class Measure(StrEnum):
    """Measures of volume. The text value is what is typed."""

    LITRE = "L"
    MILLILITRE = "mL"
    US_GALLON = "US gal"
    IMPERIAL_GALLON = "imp gal"


# litres in one; both gallons are exact by definition (231 cubic inches; 4.54609 L)
_LITRES = {
    Measure.LITRE: 1.0,
    Measure.MILLILITRE: 0.001,
    Measure.US_GALLON: 3.785411784,
    Measure.IMPERIAL_GALLON: 4.54609,
}


def litres(value: float, measure: Measure) -> float:
    """Litres of a volume in another measure."""
    return value * _LITRES[measure]


def measured(volume_litres: float, measure: Measure) -> float:
    """A volume in litres, in another measure."""
    return volume_litres / _LITRES[measure]
