"""A forecast: when the value will leave its window, as a range from the learned model."""

from math import log

from roewatch.judging.finding import Forecast
from roewatch.room.moment import HOUR_MS
from roewatch.room.window import Window


def time_to_h(value: float, bound: float, per_h: float, rest: float | None) -> float | None:
    """Hours until `value`, now moving at `per_h`, reaches `bound`; None if it never will.

    rest: where it would end by itself (exponential); None for a straight line.
    """
    gap = bound - value
    if gap == 0:
        return 0.0
    if per_h == 0 or (gap > 0) != (per_h > 0):
        return None
    if rest is None or rest == value:
        return gap / per_h
    left, before = rest - bound, rest - value
    if before == 0 or left / before <= 0:
        return None  # it comes to rest before the bound
    time_constant = before / per_h
    if time_constant <= 0:
        return gap / per_h
    return time_constant * log(before / left)


def exit_of(
    at_ms: int,
    value: float,
    window: Window | None,
    per_h: tuple[float, float, float],
    rest: float | None,
) -> Forecast | None:
    """The forecast for a value moving at per_h = (slowest, likely, fastest), all of one sign.

    None when there is no window on that side or the likely rate never gets there; then `latest`
    alone may be None when only the slowest never does.
    """
    if window is None:
        return None
    bound = window.low if per_h[1] < 0 else window.high
    if bound is None:
        return None
    if (value - bound) * (1 if per_h[1] > 0 else -1) >= 0:
        return Forecast(at_ms, at_ms, at_ms)
    slow, likely, fast = (time_to_h(value, bound, rate, rest) for rate in per_h)
    if likely is None:
        return None

    def moment(hours: float | None) -> int | None:
        return None if hours is None else at_ms + round(hours * HOUR_MS)

    return Forecast(moment(fast), moment(likely), moment(slow))
