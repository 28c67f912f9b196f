"""Buffers and points: what a probe said in water of known value, and the calibration from it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.room.measured import warmer
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.tank import Calibration, Probe
from roewatch.water.buffer import Buffer, cautions, ph_of
from roewatch.water.drift import AsFound
from roewatch.water.electrode import BufferReading, ElectrodeFit, Verdict, fit, millivolts_of
from roewatch.water.refusal import RefusedError

USUAL_CELSIUS = 25.0
SAME_WARMTH = 3.0  # °C between the buffers of one calibration
NAMES = {
    "4": Buffer.TECHNICAL_4, "7": Buffer.TECHNICAL_7, "10": Buffer.TECHNICAL_10,
    "phthalate": Buffer.PHTHALATE, "phosphate": Buffer.PHOSPHATE,
    "borax": Buffer.BORAX, "carbonate": Buffer.CARBONATE,
}  # fmt: skip
_POINT = re.compile(
    r"(?P<raw>[-+]?\d+(?:\.\d+)?)=(?P<true>[a-z]+|[-+]?\d+(?:\.\d+)?)(?:@(?P<celsius>\d+(?:\.\d+)?))?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """What the probe said (raw, kept unit) in water whose true value is known, at `celsius`."""

    raw: float
    true: float
    celsius: float = USUAL_CELSIUS


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A calibration with what it says of the probe.

    found: the errors of the calibration in force before. sound: it may be used as it is. mind:
    what to do or to know, most pressing first.
    """

    calibration: Calibration
    found: AsFound
    sound: bool
    mind: tuple[str, ...]
    electrode: ElectrodeFit | None = None


def point_of(text: str, quantity: Quantity) -> Point:
    """A point as written: `RAW=TRUE`, for pH `RAW=BUFFER@CELSIUS`: `4.12=4.01@25`, `7.05=7@22`.

    BUFFER: the pH printed on the bottle for that temperature, or one of `NAMES`, whose own table is
    then read. Raises RefusedError.
    """
    match = _POINT.fullmatch(text.replace(" ", "").replace(",", ".").lower())
    if match is None:
        raise RefusedError(f"{text!r} is no point. Write what it read = what is true, like 4.12=4.")
    celsius = float(match["celsius"] or USUAL_CELSIUS)
    true = match["true"]
    if quantity is Quantity.PH:
        return Point(raw=float(match["raw"]), true=buffer_ph(true, celsius), celsius=celsius)
    try:
        return Point(raw=float(match["raw"]), true=float(true), celsius=celsius)
    except ValueError:
        raise RefusedError(f"{true!r} is no number. Write what is true, like 25.3.") from None


def buffer_ph(named: str, celsius: float) -> float:
    """pH of a buffer named or written out. Raises RefusedError."""
    buffer = NAMES.get(named.strip().lower())
    if buffer is not None:
        return ph_of(buffer, celsius)
    try:
        ph = float(named.replace(",", "."))
    except ValueError:
        known = ", ".join(NAMES)
        raise RefusedError(f"no buffer {named!r}. Write its pH, or one of: {known}.") from None
    if not 1.0 <= ph <= 13.0:
        raise RefusedError(f"a buffer of pH {ph:g} is none that is sold. Look at the bottle.")
    return ph


def fitted(probe: Probe, points: Sequence[Point], at_ms: int) -> Fitted:
    """The calibration that makes the probe read true at the points, from `at_ms` on.

    pH: two or three buffers. Temperature: one point moves it, two also stretch it. Conductivity:
    one point, in a standard, is a factor. Raises RefusedError for any other, and for points that
    cannot be right.
    """
    errors = tuple(probe.calibrated(point.raw, at_ms) - point.true for point in points)
    if not points:
        raise RefusedError("no point was given. Give two for pH, one for other probes.")
    found = AsFound(errors=errors)
    if probe.quantity is Quantity.PH:
        return _electrode(points, at_ms, found)
    if probe.quantity is Quantity.TEMPERATURE:
        calibration = _thermometer(points, at_ms)
    elif probe.quantity is Quantity.CONDUCTIVITY:
        calibration = _cell(points, at_ms)
    else:
        raise RefusedError(
            f"a {KEPT[probe.quantity].name} probe cannot be calibrated here. "
            "Write its slope and offset into the settings."
        )
    return Fitted(calibration=calibration, found=found, sound=True, mind=())


def _electrode(points: Sequence[Point], at_ms: int, found: AsFound) -> Fitted:
    warmths = [point.celsius for point in points]
    if max(warmths) - min(warmths) > SAME_WARMTH:
        raise RefusedError(
            f"the buffers are {warmer(max(warmths) - min(warmths))} apart. Let them stand side by "
            "side until they are equally warm."
        )
    celsius = sum(warmths) / len(warmths)
    readings = [
        BufferReading(ph=point.true, mv=millivolts_of(point.raw, celsius=celsius))
        for point in points
    ]
    electrode = fit(readings, celsius=celsius)
    slope, offset = electrode.line()
    sound = electrode.verdict in {Verdict.GOOD, Verdict.CLEAN}
    mind = list(electrode.reasons)
    if any(point.true > 9.0 for point in points):
        mind += cautions(Buffer.TECHNICAL_10)
    return Fitted(
        calibration=Calibration(at_ms=at_ms, slope=slope, offset=offset),
        found=found,
        sound=sound,
        mind=tuple(mind),
        electrode=electrode,
    )


def _thermometer(points: Sequence[Point], at_ms: int) -> Calibration:
    if len(points) > 2:
        raise RefusedError("three points are more than a thermometer needs. Give one or two.")
    first = points[0]
    slope = 1.0
    if len(points) == 2:
        second = points[1]
        if abs(second.true - first.true) < 5.0 or second.raw == first.raw:
            raise RefusedError(
                f"the two points are under {warmer(5, 'g')} apart. Use ice water and a warm tank."
            )
        slope = (second.true - first.true) / (second.raw - first.raw)
    offset = first.true - slope * first.raw
    if abs(slope - 1.0) > 0.1 or abs(first.true - first.raw) > 5.0:
        raise RefusedError(
            f"the probe is more than {warmer(5, 'g')} or 10 % off. Replace it; do not correct it."
        )
    return Calibration(at_ms=at_ms, slope=slope, offset=offset)


def _cell(points: Sequence[Point], at_ms: int) -> Calibration:
    if len(points) != 1:
        raise RefusedError(f"{len(points)} points given. A conductivity cell takes one standard.")
    raw, true = points[0].raw, points[0].true
    if raw <= 0 or true <= 0 or not 0.5 <= true / raw <= 2.0:
        raise RefusedError("it reads less than half or more than double. Check cell and standard.")
    return Calibration(at_ms=at_ms, slope=true / raw)
