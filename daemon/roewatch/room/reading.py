"""A reading: one number a probe gave, and the moment it was true; and the flag beside it."""

from enum import IntEnum
from typing import NamedTuple


class Flag(IntEnum):
    """QARTOD quality flags: beside the value, never instead of it."""

    GOOD = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    BAD = 4
    MISSING = 9


class Reading(NamedTuple):
    """What one probe said, as it is stored.

    probe: the probe's id. at_ms: when the water was measured. raw: the number as it came, in
    the quantity's kept unit, before calibration. A tuple, because six figures of them are
    made a second.
    """

    probe: str
    at_ms: int
    raw: float


class Flagged(NamedTuple):
    """A reading after judging: `value` is the calibrated number the judge saw."""

    probe: str
    at_ms: int
    raw: float
    value: float
    flag: Flag
