"""Every published value we hold for development against temperature, its source in the name."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.breeding.rearing import SHEETS, foreseen, in_hours, steady, window

from roewatch.breeding.clock import gathered
from roewatch.breeding.temperatures import Temperatures
from roewatch.room.moment import HOUR_MS
from roewatch.room.staging import StagingFormula

Given = dict[str, str]


def _rows() -> list[dict[str, str]]:
    path = Path(__file__).parent / "development_published.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _formula() -> StagingFormula:
    """As the zebrafish sheet ships it."""
    staging = SHEETS["danio-rerio"].staging
    assert staging is not None
    return staging


def _changing(given: Given) -> float:
    """Hours to a stage in measured water that jumps between spells, then stays."""
    at_ms: list[int] = []
    celsius: list[float] = []
    start = 0
    for spell in given["spells"].split("+"):
        hours, warm = (float(part) for part in spell.split("@"))
        end = start + round(hours * HOUR_MS)
        # the jump takes one millisecond, so that the straight line between is the spell itself
        at_ms += [start + (1 if at_ms else 0), end]
        celsius += [warm, warm]
        start = end
    water = Temperatures(at_ms=tuple(at_ms), celsius=tuple(celsius), ahead=float(given["ahead"]))
    stage = _formula().degree_hours(float(given["h"]))
    reached = gathered(water, _formula().zero_celsius).reached(stage, 0)
    assert reached is not None
    return reached / HOUR_MS


def _hatch(given: Given) -> float:
    water = steady(float(given["T"]), 60)
    return in_hours(window(foreseen(given["species"], water)))[1]


ANSWERS: dict[str, Callable[[Given], float]] = {
    "stage_hours": lambda g: _formula().hours(float(g["h"]), float(g["T"])),
    "rate": lambda g: _formula().rate(float(g["T"])),
    "zero_celsius": lambda _: _formula().zero_celsius,
    "changing_hours": _changing,
    "hatch_inside": _hatch,
    "hatch_likely": _hatch,
}


def _named(row: dict[str, str]) -> str:
    return f"{row['id']} {row['quantity']} {row['inputs']} [{row['source']}]"


@pytest.mark.parametrize("row", _rows(), ids=_named)
def test_a_published_value_is_met_within_its_tolerance(row: dict[str, str]) -> None:
    given = dict(part.split("=", 1) for part in row["inputs"].split(";") if "=" in part)
    answer = ANSWERS[row["quantity"]](given)
    if row["quantity"] == "hatch_inside":
        low, high = (float(end) for end in row["expected"].split("-"))
        assert low <= answer <= high
    else:
        assert answer == pytest.approx(float(row["expected"]), abs=float(row["tolerance_abs"]))
