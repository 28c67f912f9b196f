"""An outlook: where a tank's water is going with its heater as it is, and when it gets there.

Exponential, from the learned time constant and the room's air; the range covers what is not known:
the rate, and the probe's own error against the window.
"""

from math import hypot
from typing import TYPE_CHECKING, Final, NamedTuple

from roewatch.judging.finding import Forecast
from roewatch.judging.forecast import time_to_h
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.testimony import BUCKET_MS
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS

if TYPE_CHECKING:
    from roewatch.judging.heat import Heat

_PROBE: Final = 0.1  # °C the probe may be off against the water's own temperature


class Width(NamedTuple):
    """Shares of the time left by which it may be sooner or later, and the furthest look, h.

    Measured on tuning rooms: glass and substrate hold warmth back, so it is rather later.
    """

    sooner: float
    later: float
    furthest_h: float


_DEAD: Final = Width(0.1, 0.16, 24.0)
_STUCK: Final = Width(0.28, 0.22, 24.0)  # a learned power is rather too small: be early
_WEAK: Final = Width(0.6, 0.6, 6.0)  # it comes and goes with the room and with what is left of it
_ROOM: Final = 0.35  # °C the room's air may be off from the course of its last days


def measured_per_h(heat: "Heat", buckets: int) -> float | None:
    """The slope of the last five-minute medians, °C/h."""
    last = heat.witness.buckets[-buckets:]
    if len(last) < min(buckets, 4):
        return None
    return fitted_per_h([bucket.end_ms for bucket in last], [bucket.value for bucket in last])


def outlook(heat: "Heat", kind: Kind, at_ms: int, value: float, held_ms: int) -> Forecast | None:
    """When the water leaves its window; None when it will not, or has no window that way.

    held_ms: how long the water has surely been going this way; 0 for not at all.
    """
    window, cycle = heat.window, heat.cycle
    up = kind is Kind.HEATER_STUCK_ON
    bound = None if window is None else window.high if up else window.low
    if bound is None or not cycle.known:
        return None
    sure = held_ms > 0
    if cycle.turned is not None and (cycle.direction > 0) == up:
        held_ms = max(held_ms, at_ms - cycle.turned_ms - 2 * BUCKET_MS)  # the whole leg says it
    measured = measured_per_h(heat, min(max(held_ms // BUCKET_MS, 4), 12))
    just_now = measured_per_h(heat, 4)
    if sure and any(slope is not None and (slope > 0) != up for slope in (measured, just_now)):
        return None  # it does not go that way just now: nobody can say when it will
    if up:
        return _heating(heat, at_ms, value, bound, measured)
    if kind is Kind.HEATER_WEAK:
        return _weakly(heat, at_ms, value, bound, measured)
    return _cooling(heat, at_ms, value, bound, measured)


def _heating(
    heat: "Heat", at_ms: int, value: float, bound: float, measured: float | None
) -> Forecast | None:
    """The heater stays on."""
    cycle = heat.cycle
    rate = cycle.power - cycle.loss(heat.over_room(value))
    # the glass takes its share at first; what is measured later knows that already
    rate = rate if measured is None else 0.4 * rate + 0.6 * measured
    rest = heat.ends_c()
    if rest is not None and rest - value <= 0:
        rest = None
    return _range(at_ms, time_to_h(value, bound, rate, rest), rate, _STUCK)


def _weakly(
    heat: "Heat", at_ms: int, value: float, bound: float, measured: float | None
) -> Forecast | None:
    """The heater gives a share of its warmth."""
    over = heat.over_room(value)
    loss = heat.cycle.loss(over)
    if measured is None or measured >= -0.02 or not over or over <= 0 or loss <= 0:
        return None
    rest = value + measured * over / loss  # where loss and what is left of the heater meet
    return _range(at_ms, time_to_h(value, bound, measured, rest), measured, _WEAK)


def _cooling(
    heat: "Heat", at_ms: int, value: float, bound: float, measured: float | None
) -> Forecast | None:
    """The heater gives nothing. The room goes on as its last days went."""
    room_c = heat.room_ahead(0.0)
    over = None if room_c is None else value - room_c
    loss = heat.cycle.loss(over)
    rate = -loss if measured is None else -0.3 * loss + 0.7 * measured
    likely = time_to_h(value, bound, rate, room_c)
    if likely is None or room_c is None or over is None or over <= 0:
        return _range(at_ms, likely, rate, _DEAD)
    ahead_c = heat.room_ahead(likely)
    if ahead_c is not None and value - ahead_c > 0:
        rate *= (value - ahead_c) / over
        over, room_c = value - ahead_c, ahead_c
    room = min(hypot(_ROOM, heat.room_spread) / over, 0.4)
    width = Width(_DEAD.sooner + room, _DEAD.later + room, _DEAD.furthest_h)
    return _range(at_ms, time_to_h(value, bound, rate, room_c), rate, width)


def _range(at_ms: int, likely: float | None, rate: float, width: Width) -> Forecast | None:
    if likely is None or likely > width.furthest_h:
        return None
    probe = _PROBE / abs(rate)
    sooner, later = (1 - width.sooner) * likely, (1 + width.later) * likely
    spans = (max(sooner - probe, 0.0), likely, later + probe)
    return Forecast(*(at_ms + round(h * HOUR_MS) for h in spans))
