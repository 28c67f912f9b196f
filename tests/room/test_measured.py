"""Measured values in sentences."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import roewatch
from roewatch.room.measured import (
    TO,
    apart,
    carbonate_hardness,
    general_hardness,
    litres,
    measured,
    temperature,
    warmer,
)
from roewatch.room.quantity import Quantity, shown_difference, shown_window, window_with_unit
from roewatch.room.window import Window


def test_a_value_and_a_difference_look_alike_and_are_told_apart() -> None:
    assert temperature(26.44) == "26.4\u00a0°C"
    assert warmer(0.31) == "0.3\u202f°C"
    assert f"{warmer(0.3)}/h".split() == ["0.3", "°C/h"]  # to the eye and to a script: a space


def test_every_measure_is_written_with_its_unit_in_the_digits_asked_for() -> None:
    assert temperature(25, "g") == "25\u00a0°C"
    assert warmer(0.25, "+.1f") == "+0.2\u202f°C"
    assert litres(54.0) == "54\u00a0L"
    assert carbonate_hardness(1.5, ".2f") == "1.50\u00a0°dKH"
    assert general_hardness(8) == "8\u00a0°dGH"
    assert measured(f"10{TO}36", "°C") == "10\u00a0to\u00a036\u00a0°C"
    assert measured("5.3", "") == apart("5.3", "") == "5.3"


def test_a_window_and_a_difference_carry_the_unit_of_their_quantity() -> None:
    window = Window(low=24.0, high=27.0)
    assert shown_window(Quantity.TEMPERATURE, window) == "24.0-27.0\u00a0°C"
    assert window_with_unit(Quantity.CONDUCTIVITY, "at most 80") == "at most 80\u00a0µS/cm"
    assert shown_window(Quantity.PH, Window(high=5.5)) == "at most 5.50"
    assert shown_difference(Quantity.TEMPERATURE, 0.4) == "0.4\u202f°C"
    assert shown_difference(Quantity.PH, 0.4, sign="+") == "+0.40"


BOUNDS = [  # low, high, digits, written: never a bound that lies outside the window
    (22.24, 27.06, 1, "22.3-27.0"),
    (24.0, 27.0, 1, "24.0-27.0"),
    (5.1, 6.3, 2, "5.10-6.30"),
    (24.5, 27.5, 0, "25-27"),
    (None, 0.1 + 0.2, 1, "at most 0.3"),
    (4.444, None, 1, "at least 4.5"),
    (-0.0, 0.75, 0, "0-1"),
    (24.51, 24.52, 1, "24.5-24.5"),  # narrower than the digits: the nearest there are
]


@pytest.mark.parametrize(("low", "high", "digits", "written"), BOUNDS)
def test_a_bound_is_rounded_towards_the_inside(
    low: float | None, high: float | None, digits: int, written: str
) -> None:
    assert Window(low=low, high=high).text(digits) == written


SPEAKERS = ("room", "water", "judging", "breeding", "alarms", "service")
LOOSE = re.compile(r"(?:^|\d) (?:°C|°?d[GK]H|L\b)")
"""A unit after a number, or at the start of what follows one in a format string."""


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Every text of a module but docstrings, cited sources, and names of units."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    quiet = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for call in ast.walk(tree):
        if isinstance(call, ast.Call):
            quiet |= {id(k.value) for k in call.keywords if k.arg == "source"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in quiet:
            yield node.lineno, node.value


@pytest.mark.parametrize("package", SPEAKERS)
def test_no_sentence_writes_a_unit_but_by_the_functions_that_a_reader_finds_again(
    package: str,
) -> None:
    folder = Path(roewatch.__file__).parent / package
    loose = [
        f"{path.relative_to(folder.parent)}:{line}: {text!r}"
        for path in sorted(folder.glob("*.py"))
        for line, text in sentences(path)
        if LOOSE.search(text)
    ]
    assert not loose
