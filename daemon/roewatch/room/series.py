"""A series: one probe's readings over a span, thinned for the eye without losing a peak."""

from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.room.quantity import Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Parallel columns in order of time, shape (n,) each: calibrated values and their flags.

    from_ms, to_ms: the span asked for. every_ms: the probe's expected spacing, so that a reader
    can tell a gap. When thinned, each pixel column keeps its first, lowest, highest and last.
    """

    probe: str
    tank: str
    quantity: Quantity
    every_ms: int
    from_ms: int
    to_ms: int
    at_ms: Sequence[int]
    value: Sequence[float]
    flag: Sequence[int]
    thinned: bool = False

    def __post_init__(self) -> None:
        if not len(self.at_ms) == len(self.value) == len(self.flag):
            raise ValueError("a series needs as many values and flags as moments")
