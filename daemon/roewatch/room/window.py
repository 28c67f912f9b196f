"""A window: the band of a quantity that suits a stage; a rate limit: the most change per span."""

import re
from dataclasses import dataclass
from enum import StrEnum

from roewatch.room.measured import rounded_down, rounded_up


class Basis(StrEnum):
    """How well a number is founded."""

    PUBLISHED = "published"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    ASSUMED = "assumed"  # our own synthesis, marked so
    KEEPER = "keeper"  # the keeper's own override


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Low and high bound in the quantity's kept unit; a missing side is unbounded.

    source: where the numbers come from, as the species sheet says it.
    """

    low: float | None = None
    high: float | None = None
    basis: Basis = Basis.KEEPER
    source: str = ""

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise ValueError("a window needs low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(f"low {self.low:g} is not below high {self.high:g}; swap or mend them")

    def outside_by(self, value: float) -> float:
        """How far `value` lies outside: below is negative; 0 inside, bounds included."""
        if self.low is not None and value < self.low:
            return value - self.low
        if self.high is not None and value > self.high:
            return value - self.high
        return 0.0

    def text(self, digits: int, *, to: str = "-") -> str:
        """For people: `24.0-27.0`, `at most 27.0`, `at least 24.0`; rounded towards the inside."""
        low = None if self.low is None else rounded_up(self.low, digits)
        high = None if self.high is None else rounded_down(self.high, digits)
        if low is not None and high is not None and low >= high:
            # too narrow for those digits, so the nearest; + 0.0, or a nought might be written -0
            low, high = (round(bound or 0.0, digits) + 0.0 for bound in (self.low, self.high))
        if low is None:
            return f"at most {high:.{digits}f}"
        if high is None:
            return f"at least {low:.{digits}f}"
        return f"{low:.{digits}f}{to}{high:.{digits}f}"


_NUMBER = r"-?\d+(?:\.\d+)?"
_BAND = re.compile(rf"({_NUMBER})-({_NUMBER})|at most ({_NUMBER})|at least ({_NUMBER})")


def window_of_text(text: str) -> Window | None:
    """The window `Window.text` wrote, to the digits it wrote.

    None for any other text, and for bounds those digits do not tell apart.
    """
    found = _BAND.fullmatch(text)
    if found is None:
        return None
    low, high, most, least = (None if part is None else float(part) for part in found.groups())
    if low is not None and high is not None and low >= high:
        return None
    return Window(low=low if least is None else least, high=high if most is None else most)


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLimit:
    """The most a quantity may rise or fall within `span_ms`, in the kept unit.

    Rising and falling have limits of their own because cooling harms sooner.
    """

    span_ms: int
    rise: float
    fall: float
    basis: Basis = Basis.KEEPER
    source: str = ""

    def __post_init__(self) -> None:
        if self.span_ms <= 0:
            raise ValueError("a rate limit needs a span longer than zero")
        if self.rise <= 0 or self.fall <= 0:
            raise ValueError("a rate limit needs rise and fall above zero")
