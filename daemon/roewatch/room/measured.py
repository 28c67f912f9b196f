"""A measured value in a sentence, written so that a reader at the edge finds it again.

The core writes every sentence in the kept units, and many are stored. Two spaces that look like any
other say what a number is: U+00A0 between a value and its unit, U+202F between a difference of two
values (or a rate) and its unit. No other text has them before a unit: not what a person or a probe
wrote, not what older programs stored.
"""

import math

VALUE = "\u00a0"
"""NO-BREAK SPACE: a value of its unit, `26.4 °C` is so warm."""
DIFFERENCE = "\u202f"
"""NARROW NO-BREAK SPACE: a difference, `0.3 °C` warmer, `0.3 °C/h`."""
TO = f"{VALUE}to{VALUE}"
"""Between the ends of a band where a hyphen would not do."""

CELSIUS = "°C"
LITRES = "L"


def measured(number: str, unit: str) -> str:
    """A value with its unit, of a number already in its digits; `number` alone without a unit.

    number: one number, or two with `-` or `TO` between them.
    """
    return f"{number}{VALUE}{unit}" if unit else number


def apart(number: str, unit: str) -> str:
    """A difference with its unit; for a rate, what it is by follows: `/h`."""
    return f"{number}{DIFFERENCE}{unit}" if unit else number


def temperature(celsius: float, form: str = ".1f") -> str:
    """`26.4 °C`. form: how the number is written, as in a format string."""
    return measured(f"{celsius:{form}}", CELSIUS)


def warmer(celsius: float, form: str = ".1f") -> str:
    """A difference of two temperatures, `0.3 °C`; with `/h` after it, a rate."""
    return apart(f"{celsius:{form}}", CELSIUS)


def litres(volume: float, form: str = "g") -> str:
    """`54 L`."""
    return measured(f"{volume:{form}}", LITRES)


def carbonate_hardness(dkh: float, form: str = "g") -> str:
    """`2 °dKH`."""
    return measured(f"{dkh:{form}}", "°dKH")


def general_hardness(dgh: float, form: str = "g") -> str:
    """`8 °dGH`."""
    return measured(f"{dgh:{form}}", "°dGH")


_NOISE = 1e-6  # of a last digit: 5.1 is 5.1, however a float keeps it


def rounded_up(bound: float, digits: int) -> float:
    """The least number of so many digits that is not below `bound`."""
    return math.ceil(bound * 10.0**digits - _NOISE) / 10.0**digits


def rounded_down(bound: float, digits: int) -> float:
    """The greatest number of so many digits that is not above `bound`."""
    return math.floor(bound * 10.0**digits + _NOISE) / 10.0**digits
