"""Heater text: what a heater alarm says of itself, in one sentence with its numbers."""

from roewatch.judging.cycle import Cycle
from roewatch.room.kind import Kind
from roewatch.room.measured import temperature, warmer
from roewatch.room.moment import span_text


def heater_text(kind: Kind, value: float, per_h: float, cycle: Cycle, held_ms: int) -> str:
    """value: °C, changing by `per_h` °C/h. held_ms: how long the thermostat has not answered."""
    word = "rising" if per_h > 0 else "falling"
    moving = f"{temperature(value)}, {word} {warmer(abs(per_h))}/h"
    held = span_text(held_ms)
    if kind is Kind.HEATER_WEAK:
        return (
            f"{moving}, below {temperature(cycle.lower)} where the heater switches on for "
            f"{held}; it heats, but not enough"
        )
    stuck = kind is Kind.HEATER_STUCK_ON
    usual, does = (cycle.upper, "off") if stuck else (cycle.lower, "on")
    at = temperature(usual)
    return f"{moving}; the heater usually switches {does} at {at} and has not for {held}"
