"""The bench: what waters make when poured together, for the page and for scripts alike."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch.views.sight import Sight
from roewatch.views.standing import Mark
from roewatch.water.blend import BlendRanges, Range, cautions, pour, ranges
from roewatch.water.source import SourceWater

Parts = Sequence[tuple[float, SourceWater]]
"""Litres and waters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What they make, in kept units. ph, conductivity: against the tank's window, blank without."""

    sure: BlendRanges
    ph: Mark
    conductivity: Mark
    cautions: tuple[str, ...]


def windows_for(sight: Sight, tank_id: str) -> Mapping[Quantity, Window]:
    """The windows of the tank a water is meant for; none for no tank. Raises NotHereError."""
    return sight.of(tank_id).tank.windows if tank_id else {}


def made_of(parts: Parts, windows: Mapping[Quantity, Window]) -> Made:
    """What the waters make. Raises RefusedError as `pour`."""
    celsius = _middle(windows.get(Quantity.TEMPERATURE))
    sure = ranges(parts, celsius=celsius)
    return Made(
        sure=sure,
        ph=mark_of(sure.aired_ph, windows.get(Quantity.PH)),
        conductivity=mark_of(sure.conductivity, windows.get(Quantity.CONDUCTIVITY)),
        cautions=tuple(cautions(pour(parts, celsius=celsius))),
    )


def _middle(window: Window | None) -> float | None:
    """The middle of the tank's own temperatures: pH is judged at what the tank is kept at."""
    if window is None or window.low is None or window.high is None:
        return None
    return (window.low + window.high) / 2


def mark_of(found: Range | None, window: Window | None) -> Mark:
    """A number against a window; near when its range alone reaches past it."""
    if found is None or window is None:
        return Mark.BLANK
    if window.outside_by(found.value):
        return Mark.OUTSIDE
    if window.outside_by(found.low) or window.outside_by(found.high):
        return Mark.NEAR
    return Mark.INSIDE
