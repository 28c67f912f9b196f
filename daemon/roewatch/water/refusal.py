"""A refusal: a question the chemistry cannot answer honestly, with the reason and the cure."""

import math

from roewatch.room.measured import TO, measured


class RefusedError(ValueError):
    """What was asked lies where the formula, the kit or the animal does not allow an answer.

    The message says what was refused, why, and what would make it answerable.
    """


def within(value: float, low: float, high: float, *, what: str, unit: str = "") -> float:
    """`value` unchanged when it is a finite number in [low, high].

    what: how a keeper would name the number. Raises RefusedError otherwise.
    """
    if not math.isfinite(value):
        raise RefusedError(f"{what} is {value}, which is no number. Measure it again.")
    if low <= value <= high:
        return value
    band = measured(f"{low:g}{TO}{high:g}", unit) if unit else f"{low:g} to {high:g}"
    raise RefusedError(
        f"{what} is {measured(f'{value:g}', unit)}; this works from {band}. "
        "Check the reading and its unit."
    )
