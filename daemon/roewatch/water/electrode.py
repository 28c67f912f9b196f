"""An electrode: the glass of a pH probe, its slope and offset, and whether it can be believed."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from roewatch.water.refusal import RefusedError, within
from roewatch.water.unit import kelvin

_GAS_J = 8.314462618  # J per mol and K, CODATA 2018
_FARADAY_C = 96485.33212  # C per mol, CODATA 2018


def nernst_slope(celsius: float) -> float:
    """Millivolts a perfect electrode gives per pH, 0-100 °C.

    Source: Nernst equation, R T ln 10 / F with CODATA 2018. Raises RefusedError outside the range.
    """
    within(celsius, 0.0, 100.0, what="temperature", unit="°C")
    return 1000.0 * _GAS_J * kelvin(celsius) * math.log(10.0) / _FARADAY_C


def slope_percent(*, mv_change: float, ph_change: float, celsius: float) -> float:
    """Slope between two buffers as % of a perfect electrode's; signs do not matter.

    Raises RefusedError if the two buffers share one pH.
    """
    if ph_change == 0.0:
        raise RefusedError("both buffers have the same pH. Use two at least 2 pH apart.")
    return 100.0 * abs(mv_change) / (abs(ph_change) * nernst_slope(celsius))


class Verdict(StrEnum):
    """What a calibration says of the electrode."""

    GOOD = "good"
    CLEAN = "clean and repeat"
    REPLACE = "replace"
    CHECK_BUFFER = "check buffers and temperature"


@dataclass(frozen=True, slots=True, kw_only=True)
class BufferReading:
    """What the electrode gave in one buffer. ph: the buffer's at its own temperature."""

    ph: float
    mv: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectrodeFit:
    """One calibration of a glass electrode at `celsius`.

    slope_percent: of Nernst, one entry per segment from acid to alkaline. offset_mv: reading at
    pH 7.00. offset_ph: the same as pH. worst_residual: pH, 0 for two points and for segments.
    """

    celsius: float
    slopes_mv: tuple[float, ...]
    offset_mv: float
    slope_percent: tuple[float, ...]
    worst_residual: float
    verdict: Verdict
    reasons: tuple[str, ...]

    @property
    def offset_ph(self) -> float:
        """The offset as the pH a perfect electrode would have misread at pH 7."""
        return self.offset_mv / nernst_slope(self.celsius)

    def ph(self, mv: float, *, celsius: float) -> float:
        """pH of a sample from its millivolts, slope compensated to the sample's temperature.

        Compensation mends the electrode's slope only, not the water's own change with warmth.
        """
        scale = nernst_slope(celsius) / nernst_slope(self.celsius)
        acid, alkaline = self.slopes_mv[0], self.slopes_mv[-1]
        slope = acid if mv >= self.offset_mv else alkaline
        return 7.0 - (mv - self.offset_mv) / (slope * scale)

    def line(self, *, near_ph: float = 6.5) -> tuple[float, float]:
        """(slope, offset) that turn the pH a perfect electrode would show into the true one.

        For probes that publish pH: calibrated = raw * slope + offset, as `room.tank.Calibration`.
        near_ph: the tank's, which picks the segment of a three-point calibration.
        """
        slope = self.slopes_mv[0] if near_ph <= 7.0 else self.slopes_mv[-1]
        perfect = nernst_slope(self.celsius)
        return perfect / slope, 7.0 - 7.0 * perfect / slope + self.offset_mv / slope


def millivolts_of(ph: float, *, celsius: float) -> float:
    """What a perfect electrode gives at `ph`: turns a probe that publishes pH into millivolts."""
    return (7.0 - ph) * nernst_slope(celsius)


def compensation_error(*, ph: float, celsius: float, calibrated_at: float) -> float:
    """pH by which a probe without temperature compensation misreads at `celsius`.

    Source: the slope grows with absolute temperature: (pH - 7)(t - tcal) / T, T in kelvin.
    """
    return (ph - 7.0) * (celsius - calibrated_at) / kelvin(calibrated_at)


def _judged(percents: Sequence[float], offset_mv: float) -> tuple[Verdict, tuple[str, ...]]:
    """The verdict over all segments, worst first, and why.

    Bands: 95-102 good, 90-95 clean, under 90 replace; offset over 30 mV clean. Common practice.
    """
    reasons: list[str] = []
    verdict = Verdict.GOOD
    worst, best = min(percents), max(percents)
    if worst < 90.0:
        verdict = Verdict.REPLACE
        reasons.append(f"slope {worst:.1f} % is under 90 %: clean once and repeat, then replace it")
    elif best > 102.0:
        verdict = Verdict.CHECK_BUFFER
        reasons.append(
            f"slope {best:.1f} % is over 102 %: a stale or swapped buffer, or a wrong temperature"
        )
    elif worst < 95.0:
        verdict = Verdict.CLEAN
        reasons.append(f"slope {worst:.1f} % is under 95 %: clean the glass and repeat")
    if abs(offset_mv) > 30.0:
        reasons.append(f"offset {offset_mv:+.0f} mV is beyond 30 mV: fouled or dried-out reference")
        if verdict is Verdict.GOOD:
            verdict = Verdict.CLEAN
    return verdict, tuple(reasons)


def fit(readings: Sequence[BufferReading], *, celsius: float) -> ElectrodeFit:
    """Slope and offset from two or three buffers at one temperature, °C.

    Two points must be 2 pH apart or more. Three points that bracket pH 7 (one within 0.2 of it)
    make two segments meeting there; any other three make one line, refused if a point lies more
    than 0.03 pH off it. Raises RefusedError for other counts, buffers too close, or millivolts that
    do not fall as pH rises. Source: Nernst equation.
    """
    ordered = sorted(readings, key=lambda r: r.ph)
    if len(ordered) not in {2, 3}:
        raise RefusedError(f"{len(ordered)} buffers given; a calibration takes two or three.")
    if ordered[-1].ph - ordered[0].ph < 2.0:
        raise RefusedError("the buffers lie less than 2 pH apart. Use for instance 4.01 and 7.00.")
    pairs = list(itertools.pairwise(ordered))
    for before, after in pairs:
        if after.ph - before.ph < 0.5 or not after.mv < before.mv:
            raise RefusedError(
                f"between pH {before.ph:.2f} and {after.ph:.2f} the millivolts do not fall "
                f"({before.mv:g} to {after.mv:g} mV). Were the buffers swapped?"
            )
    if len(ordered) == 3 and abs(ordered[1].ph - 7.0) <= 0.2:
        slopes = tuple((a.mv - b.mv) / (b.ph - a.ph) for a, b in pairs)
        middle = ordered[1]
        # the middle buffer is seldom exactly 7.00; step to it along its own segment
        offset = middle.mv + (middle.ph - 7.0) * (slopes[0] if middle.ph < 7.0 else slopes[1])
        residual = 0.0
    else:
        slope, offset, residual = _line(ordered)
        slopes = (slope,)
        if residual > 0.03:
            raise RefusedError(
                f"one buffer lies {residual:.3f} pH off the line through the others; at most "
                "0.03. A buffer is stale, or the probe had not settled. Repeat with fresh buffer."
            )
    percents = tuple(
        slope_percent(mv_change=slope, ph_change=1.0, celsius=celsius) for slope in slopes
    )
    verdict, reasons = _judged(percents, offset)
    return ElectrodeFit(
        celsius=celsius,
        slopes_mv=slopes,
        offset_mv=offset,
        slope_percent=percents,
        worst_residual=residual,
        verdict=verdict,
        reasons=reasons,
    )


def _line(points: Sequence[BufferReading]) -> tuple[float, float, float]:
    """Least squares: (slope mV/pH, reading at pH 7, worst residual in pH)."""
    n = len(points)
    mean_ph = sum(p.ph for p in points) / n
    mean_mv = sum(p.mv for p in points) / n
    slope = -sum((p.ph - mean_ph) * (p.mv - mean_mv) for p in points) / sum(
        (p.ph - mean_ph) ** 2 for p in points
    )
    offset = mean_mv - slope * (7.0 - mean_ph)
    worst = max(abs(offset - slope * (p.ph - 7.0) - p.mv) / slope for p in points)
    return slope, offset, worst
