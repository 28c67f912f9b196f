"""Drift: how far a pH probe had strayed since it was last calibrated, and when to look again."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from roewatch.room.moment import DAY_MS
from roewatch.water.electrode import BufferReading, ElectrodeFit
from roewatch.water.refusal import RefusedError

FLAG_PH = 0.1
CORRECT_PH = 0.2
CHECK_EVERY_MS = 7 * DAY_MS
CALIBRATE_EVERY_MS = 30 * DAY_MS
PROBE_LIFE_MS = 550 * DAY_MS
"""A glass probe in daily use lasts one to two years; from the middle on its age is said."""


class Past(StrEnum):
    """What to do with the readings since the last calibration."""

    KEEP = "keep"
    SUSPECT = "mark suspect"
    CORRECT = "correct evenly in time, or discard"


@dataclass(frozen=True, slots=True, kw_only=True)
class AsFound:
    """What the probe read in the buffers before it was adjusted.

    errors: read less true, pH, one per buffer. worst: the largest, with its sign.
    """

    errors: tuple[float, ...]

    @property
    def worst(self) -> float:
        """The error of the largest size."""
        return max(self.errors, key=abs)

    @property
    def past(self) -> Past:
        """What to do with the readings since the last calibration."""
        if abs(self.worst) > CORRECT_PH:
            return Past.CORRECT
        return Past.SUSPECT if abs(self.worst) > FLAG_PH else Past.KEEP


def as_found(before: ElectrodeFit, readings: Sequence[BufferReading], *, celsius: float) -> AsFound:
    """Errors of the calibration in force, from what the electrode gives in buffers now.

    Taken before anything is adjusted. Raises RefusedError without a reading.
    """
    if not readings:
        raise RefusedError("no buffer was read. Record the probe in both before adjusting.")
    return AsFound(errors=tuple(before.ph(r.mv, celsius=celsius) - r.ph for r in readings))


def corrected(value: float, *, at_ms: int, since_ms: int, until_ms: int, error: float) -> float:
    """A reading taken between two calibrations, with drift taken out evenly in time.

    error: as found at `until_ms`, read less true. Raises RefusedError outside the span.
    """
    if not since_ms <= at_ms <= until_ms or since_ms == until_ms:
        raise RefusedError("the reading does not lie between the two calibrations.")
    return value - error * (at_ms - since_ms) / (until_ms - since_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """One entry of a probe's history.

    slope_percent: of Nernst, the worst segment. offset_mv at pH 7. found: error as found, pH.
    response_s: seconds to rest in the second buffer, None if not watched.
    """

    at_ms: int
    slope_percent: float
    offset_mv: float
    found: float | None = None
    response_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """When to look at the probe again, and what its history says.

    check_ms: one buffer will do. calibrate_ms: two buffers. per_week: pH of drift a week, as found
    (None before two entries carry it).
    """

    check_ms: int
    calibrate_ms: int
    per_week: float | None
    remarks: tuple[str, ...]


def outlook(
    history: Sequence[Calibrated], *, in_use_since_ms: int | None = None, soft: bool = False
) -> Outlook:
    """What a probe's calibrations, in order of time, say about the next.

    A probe that drifts is due before it can be 0.1 off. soft: water under 50 µS/cm, where half the
    time is taken. Raises RefusedError without an entry.
    """
    if not history:
        raise RefusedError("this probe was never calibrated. Do it now.")
    last = history[-1]
    per_week = _per_week(history)
    span = CALIBRATE_EVERY_MS // 2 if soft else CALIBRATE_EVERY_MS
    if per_week is not None and abs(per_week) > 0.0:
        span = min(span, max(round(FLAG_PH / abs(per_week) * 7 * DAY_MS), 2 * DAY_MS))
    remarks: list[str] = []
    if len(history) >= 3 and history[-3].slope_percent - last.slope_percent > 3.0:
        remarks.append(
            f"The slope fell from {history[-3].slope_percent:.1f} to {last.slope_percent:.1f} % "
            "over three calibrations: order a new probe."
        )
    if last.response_s is not None and last.response_s > 120.0:
        remarks.append(
            f"It took {last.response_s:.0f} s to rest in buffer; a healthy probe takes under 60. "
            "Clean the glass and the junction."
        )
    if in_use_since_ms is not None and last.at_ms - in_use_since_ms > PROBE_LIFE_MS:
        remarks.append("It is past the middle of a probe's usual life of one to two years.")
    return Outlook(
        check_ms=last.at_ms + min(CHECK_EVERY_MS, span),
        calibrate_ms=last.at_ms + span,
        per_week=per_week,
        remarks=tuple(remarks),
    )


def _per_week(history: Sequence[Calibrated]) -> float | None:
    """Mean drift as found, pH a week, over the entries that carry it."""
    spans = [
        (after.found, after.at_ms - before.at_ms)
        for before, after in itertools.pairwise(history)
        if after.found is not None and after.at_ms > before.at_ms
    ]
    if not spans:
        return None
    return sum(found for found, _ in spans) / sum(ms for _, ms in spans) * 7 * DAY_MS
