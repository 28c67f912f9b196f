"""An outlook: where a tank's water is going with its heater as it is, and when it gets there.

Exponential, from the learned time constant and the room's air; the range covers what is not known:
the rate, and the probe's own error against the window.
"""

from typing import TYPE_CHECKING

from roewatch.judging.finding import Forecast
from roewatch.judging.forecast import time_to_h
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.witness import BUCKET_MS
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS

if TYPE_CHECKING:
    from roewatch.judging.heat import Heat

_PROBE = 0.11  # °C the probe may be off against the water's own temperature
_SOONER, _LATER = 0.18, 0.26  # share by which it may be sooner or later: glass holds warmth back


def measured_per_h(heat: "Heat", buckets: int) -> float | None:
    """The slope of the last five-minute medians, °C/h."""
    last = heat.witness.buckets[-buckets:]
    if len(last) < min(buckets, 4):
        return None
    return fitted_per_h([bucket.end_ms for bucket in last], [bucket.value for bucket in last])


def outlook(heat: "Heat", kind: Kind, at_ms: int, value: float, held_ms: int) -> Forecast | None:
    """When the water leaves its window; None when it will not, or has no window that way.

    held_ms: how long the water has surely been going this way.
    """
    window, cycle = heat.window, heat.cycle
    over = heat.over_room(value)
    loss = cycle.loss(over)
    up = kind is Kind.HEATER_STUCK_ON
    bound = None if window is None else window.high if up else window.low
    if bound is None or not cycle.known:
        return None
    if cycle.turned is not None and (cycle.direction > 0) == up:
        held_ms = max(held_ms, at_ms - cycle.turned_ms - 2 * BUCKET_MS)  # the whole leg says it
    measured = measured_per_h(heat, min(max(held_ms // BUCKET_MS, 4), 12))
    if up:
        rate = cycle.power - loss
        # the glass takes its share at first; what is measured later knows that already
        rate = rate if measured is None or measured <= 0 else 0.4 * rate + 0.6 * measured
        hours = cycle.time_constant_h()
        rest = None if heat.room_c is None or not hours else heat.room_c + cycle.power * hours
        if rest is not None and rest - value <= 0:
            rest = None
    elif kind is Kind.HEATER_WEAK:
        if measured is None or measured >= -0.02 or not over or over <= 0 or loss <= 0:
            return None
        rate = measured
        rest = value + measured * over / loss  # where loss and what is left of the heater meet
    else:
        rate = -loss
        rate = rate if measured is None or measured >= 0 else 0.3 * rate + 0.7 * measured
        rest = heat.room_c
    return _range(at_ms, value, bound, rate, rest)


def _range(
    at_ms: int, value: float, bound: float, rate: float, rest: float | None
) -> Forecast | None:
    likely = time_to_h(value, bound, rate, rest)
    if likely is None:
        return None
    probe = _PROBE / abs(rate)
    spans = (max((1 - _SOONER) * likely - probe, 0.0), likely, (1 + _LATER) * likely + probe)
    return Forecast(*(at_ms + round(h * HOUR_MS) for h in spans))
