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
