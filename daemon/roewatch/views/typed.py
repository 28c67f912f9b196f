"""Typed: numbers as people write them, in the units they read in.

What a form holds says in which units it was typed, in a field of its own: so an address that is
kept as a bookmark, or opened where other units are read, means the same for ever.
"""

import math
from collections.abc import Mapping

from roewatch.views.units import Of, Units
from roewatch.water.refusal import RefusedError

IN = "in"
"""The field that names the units the other fields were typed in."""


def number_of(text: str, what: str) -> float:
    """A number as people write it, decimal comma or point. Raises RefusedError."""
    number = _number(text)
    if number is None:
        raise RefusedError(f"{what}: {text[:40]!r} is no number. Write it like 7.4 or 7,4.")
    return number


def _number(text: str) -> float | None:
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def kept_text(text: str, what: Of, typed: Units) -> str:
    """A typed number in the kept unit, to the last digit; what is no number stays as it is."""
    number = _number(text)
    if number is None or not typed.changes(what):
        return text
    return f"{typed.kept_of(what, number):.12f}".rstrip("0").rstrip(".")


def shown_text(kept: str, what: Of, chosen: Units) -> str:
    """A kept number as a form shows it in the chosen unit; what is no number stays as it is."""
    number = _number(kept)
    if number is None or not chosen.changes(what):
        return kept
    return f"{chosen.shown_of(what, number):.6g}"


def typed_in(fields: Mapping[str, str]) -> Units:
    """The units a form was typed in; the kept ones where it does not say."""
    return Units.of(fields.get(IN, ""))


def kept_fields(fields: Mapping[str, str], measures: Mapping[str, Of]) -> dict[str, str]:
    """The same form with its numbers in the kept units. measures: by field, what it measures."""
    units = typed_in(fields)
    return {
        name: kept_text(text, measures[name], units) if name in measures else text
        for name, text in fields.items()
        if name != IN
    }


def shown_fields(
    kept: Mapping[str, str], measures: Mapping[str, Of], chosen: Units
) -> dict[str, str]:
    """A form in the kept units, as somebody who chose others reads and sends it."""
    shown = {
        name: shown_text(text, measures[name], chosen) if name in measures else text
        for name, text in kept.items()
    }
    return shown | ({IN: chosen.words} if chosen.words else {})
