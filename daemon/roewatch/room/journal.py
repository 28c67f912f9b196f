"""A journal entry: what the keeper did to a tank, and how long it lasted."""

from dataclasses import dataclass
from enum import StrEnum


class Deed(StrEnum):
    """What can be entered by hand; the text value is what files write."""

    WATER_CHANGE = "water-change"
    CALIBRATION = "calibration"
    STAGE = "stage"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalEntry:
    """One deed on one tank. until_ms: when it was over, or None for a moment.

    detail: for `stage` the new stage's name; otherwise free text.
    """

    at_ms: int
    tank: str
    deed: Deed
    until_ms: int | None = None
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Amendment:
    """A journal entry put right afterwards, or taken back.

    number: the one the store knows the entry by. entry: what stands there from now on, None when
    it is withdrawn. at_ms, by: when, and whose word it is.
    """

    number: int
    entry: JournalEntry | None
    at_ms: int
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Amended:
    """What was kept of an amendment: the entry as it was before. withdrawn: nothing came after."""

    number: int
    before: JournalEntry
    at_ms: int
    by: str
    withdrawn: bool
