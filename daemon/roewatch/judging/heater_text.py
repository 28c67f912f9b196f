"""Heater text: what a heater alarm says of itself, in one sentence with its numbers."""

from roewatch.judging.cycle import Cycle
from roewatch.room.kind import Kind
from roewatch.room.moment import span_text


def heater_text(kind: Kind, value: float, per_h: float, cycle: Cycle, held_ms: int) -> str:
    """value: °C, changing by `per_h` °C/h. held_ms: how long the thermostat has not answered."""
    moving = f"{value:.1f} °C, {'rising' if per_h > 0 else 'falling'} {abs(per_h):.1f} °C/h"
    held = span_text(held_ms)
    if kind is Kind.HEATER_WEAK:
        return (
            f"{moving}, below {cycle.lower:.1f} °C where the heater switches on for {held}; "
            "it heats, but not enough"
        )
    stuck = kind is Kind.HEATER_STUCK_ON
    usual, does = (cycle.upper, "off") if stuck else (cycle.lower, "on")
    return f"{moving}; the heater usually switches {does} at {usual:.1f} °C and has not for {held}"
