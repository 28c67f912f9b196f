"""A count of eggs or young, as a person counted it: exact, about, or between two numbers."""

import re
from dataclasses import dataclass
from enum import StrEnum

MOST = 1_000_000


class Counted(StrEnum):
    """What was counted; the text value is what records write."""

    EGGS = "eggs"
    WHITE = "white"  # white eggs taken out; adds up over a brood's records
    HATCHED = "hatched"
    SWIMMING = "swimming"
    DAY_14 = "day-14"
    DAY_30 = "day-30"
    MOVED_ON = "moved-on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """So many, from `low` to `high`; `about`: guessed at rather than counted one by one."""

    low: int
    high: int
    about: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.high <= MOST:
            raise ValueError(
                f"{self.low}-{self.high} is no count; write the smaller number first, "
                f"0 to {MOST}: 60, about 60, or 50-70"
            )

    @property
    def middle(self) -> float:
        """The middle of the range, for arithmetic that needs one number."""
        return (self.low + self.high) / 2

    @property
    def exact(self) -> bool:
        """Whether it was counted one by one."""
        return self.low == self.high and not self.about

    @property
    def text(self) -> str:
        """As a person writes it; `count_of` gives the same count back."""
        numbers = f"{self.low}" if self.low == self.high else f"{self.low}-{self.high}"
        return f"about {numbers}" if self.about else numbers

    def __add__(self, other: "Count") -> "Count":
        return Count(
            low=min(self.low + other.low, MOST),
            high=min(self.high + other.high, MOST),
            about=self.about or other.about,
        )


_WRITTEN = re.compile(r"(about\s+|~\s*)?(\d{1,7})(?:\s*[-–]\s*(\d{1,7}))?", re.IGNORECASE)


def count_of(text: str) -> Count:
    """The count a person wrote: `60`, `about 60`, `~60` or `50-70`.

    Raises ValueError if it is anything else.
    """
    match = _WRITTEN.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is no count; write 60, about 60, or 50-70")
    low = int(match[2])
    return Count(
        low=low, high=int(match[3]) if match[3] is not None else low, about=match[1] is not None
    )
