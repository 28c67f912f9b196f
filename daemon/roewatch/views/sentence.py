"""A sentence of the core, read in the units a browser chose.

The core writes metric text, and much of it is stored. `room/measured.py` says how its values stand
in a sentence; here they are found again and told in other units, all of one measure or none: a
sentence that tells a temperature in any other way (a person's own words, what an older program
stored) keeps °C throughout. What was read holds no value of ours, so reading it again is idle.
"""

import re
from collections.abc import Callable

from roewatch.alarms.alarm import Alarm
from roewatch.room.measured import DIFFERENCE, TO, VALUE, rounded_down, rounded_up
from roewatch.room.quantity import Quantity
from roewatch.room.window import window_of_text
from roewatch.views.units import Of, Units

_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_TOLD = re.compile(
    r"(?P<bound>(?i:about|at most|at least|no more than|limit) )?"
    rf"(?<![\w.+-])(?P<first>{_NUMBER})(?:(?P<to>-|{TO})(?P<last>{_NUMBER}))?"
    rf"(?P<space>[{VALUE}{DIFFERENCE}])(?P<unit>°C(?!\w)|L(?![\w/])|°dGH\b|°dKH\b)"
)
_MEASURE = {"°C": Of.WARMTH, "L": Of.VOLUME, "°dGH": Of.HARDNESS, "°dKH": Of.HARDNESS}
_OTHERWISE = {  # a value of that measure that we did not write, or that cannot be read
    Of.WARMTH: re.compile(r"°\s*C|\d\s*(?:C|celsius|degrees)\b", re.IGNORECASE),
    Of.VOLUME: re.compile(r"\d\s*(?:l|lit(?:re|er)s?)\b(?!/)", re.IGNORECASE),
    Of.HARDNESS: re.compile(r"\bd[GK]H\b|\d\s*degrees\b", re.IGNORECASE),
}

_BOUNDS = {
    "at least": rounded_up,
    "at most": rounded_down,
    "no more than": rounded_down,
    "limit": rounded_down,  # of a rate
}


def sentence(text: str, units: Units) -> str:
    """`text` in the units chosen; a measure that cannot be read whole stays in the kept unit.

    A difference converts as one. Bounds are rounded to the safe side, a band inwards, `at most`
    down, `at least` up; what was measured to the nearest.
    """
    rest = _TOLD.sub(" ", text)
    chosen = {of for of in Of if units.changes(of) and not _OTHERWISE[of].search(rest)}
    return _TOLD.sub(lambda told: _read(told, units, chosen), text) if chosen else text


def own_numbers(alarm: Alarm, units: Units) -> str:
    """An alarm's value and window where its text, as it was sent, tells them in other degrees.

    `75.4 °F, window 71.6 to 82.4 °F`; empty where nothing needs to be said again.
    """
    quantity = alarm.quantity
    if quantity is not Quantity.TEMPERATURE or alarm.value is None:
        return ""
    if not units.changes(Of.WARMTH) or sentence(alarm.message, units) != alarm.message:
        return ""
    window = window_of_text(alarm.window)
    told = f", window {units.window_text(quantity, window)}" if window else ""
    return f"{units.shown(quantity, alarm.value)}{told}"


def _read(told: re.Match[str], units: Units, chosen: set[Of]) -> str:
    measure, space = _MEASURE[told["unit"]], told["space"]
    if measure not in chosen:
        return told[0]
    bound = told["bound"] or ""
    word = bound.strip().lower()
    digits = _digits(told["first"], measure, rough=word == "about")

    def shown(kept: str, rounded: Callable[[float, int], float]) -> str:
        if measure is Of.WARMTH and space == DIFFERENCE:
            number = units.difference(Quantity.TEMPERATURE, float(kept))
        else:
            number = units.shown_of(measure, float(kept))
        sign = "+" if kept.startswith("+") else ""
        return f"{rounded(number, digits) + 0.0:{sign}.{digits}f}"  # + 0.0: nought is never -0

    if told["last"]:
        number = shown(told["first"], rounded_up) + told["to"] + shown(told["last"], rounded_down)
    else:
        number = shown(told["first"], _BOUNDS.get(word, round))
    return f"{bound}{number}{space}{units.unit_of(measure, told['unit'])}"


def _digits(kept: str, measure: Of, *, rough: bool) -> int:
    """Decimals that tell as much in the other unit: a gallon is coarser than a litre, a ppm finer.

    A whole degree has one, so that it is told exactly, unless it was a rough one. Four and more
    come of a number that was typed in the other unit, and are not what anybody measured.
    """
    decimals = len(kept.partition(".")[2])
    if decimals > 3:
        decimals = 1
    if measure is Of.WARMTH:
        return decimals if rough else max(decimals, 1)
    return decimals + 1 if measure is Of.VOLUME else max(decimals - 1, 0)
