"""Settling: whether a live reading has come to rest, and how long it took."""

from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.room.moment import MINUTE_MS
from roewatch.water.refusal import RefusedError

SOFT_WATER_US = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """Where a live reading stands.

    value: mean over the last span. spread: highest less lowest in it. rest: it may be taken.
    after_ms: from the first reading until it stayed within the band, None while it has not.
    """

    value: float
    spread: float
    rest: bool
    after_ms: int | None


def watch(
    readings: Sequence[tuple[int, float]], *, band: float = 0.02, span_ms: int = 2 * MINUTE_MS
) -> Settling:
    """Whether readings (at_ms, value), in order of time, have moved less than `band` for `span_ms`.

    0.02 pH in two minutes is what pH in soft water asks for; a millivolt probe takes 1.2 mV.
    Three readings at least must lie in the span. Raises RefusedError without any reading.
    """
    if not readings:
        raise RefusedError("no reading has come. Is the probe speaking?")
    last_ms = readings[-1][0]
    recent = [value for at_ms, value in readings if at_ms >= last_ms - span_ms]
    spread = max(recent) - min(recent)
    covered = readings[0][0] <= last_ms - span_ms
    rest = covered and len(recent) >= 3 and spread < band
    return Settling(
        value=sum(recent) / len(recent),
        spread=spread,
        rest=rest,
        after_ms=_within_since(readings, band) if rest else None,
    )


def _within_since(readings: Sequence[tuple[int, float]], band: float) -> int:
    """ms from the first reading to the first after which all lie within one band."""
    low = high = readings[-1][1]
    since = readings[-1][0]
    for at_ms, value in reversed(readings):
        low, high = min(low, value), max(high, value)
        if high - low >= band:
            break
        since = at_ms
    return since - readings[0][0]


def patience_ms(conductivity: float | None) -> int:
    """How long to wait for rest before giving up: 3 min in buffer or hard water, 10 min in soft."""
    soft = conductivity is not None and conductivity < SOFT_WATER_US
    return 10 * MINUTE_MS if soft else 3 * MINUTE_MS


def ph_uncertainty(conductivity: float | None) -> float:
    """pH either way that a reading deserves by the water's conductivity, µS/cm at 25 °C.

    0.2 below 50, 0.1 below 100, 0.05 above; 0.1 when unknown. Ten laboratories side by side in
    poorly buffered fresh water differed by 0.2 in all (Davison and Gardner).
    """
    if conductivity is None:
        return 0.1
    if conductivity < SOFT_WATER_US:
        return 0.2
    return 0.1 if conductivity < 100.0 else 0.05


def soft_water_advice(conductivity: float | None) -> tuple[str, ...]:
    """How to read pH where there are few ions; empty in ordinary water."""
    if conductivity is None or conductivity >= 100.0:
        return ()
    return (
        "Few ions: rinse off all buffer, then let the probe soak in the water itself.",
        "Read with pump and stirrer still; moving water reads lower, by 0.2 and more.",
        "Wait 5 to 10 minutes, and take it when it moves less than 0.02 in 2 minutes.",
        f"Trust it to {ph_uncertainty(conductivity):g} either way, no better.",
    )
