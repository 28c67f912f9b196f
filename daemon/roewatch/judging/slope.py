"""A slope: how fast a quantity changes, told from noisy, stepped readings."""

from collections.abc import Sequence

from roewatch.room.moment import HOUR_MS


def fitted_per_h(at_ms: Sequence[int], values: Sequence[float]) -> float | None:
    """Least-squares slope, per hour; None below three moments. Linear in n, for every minute.

    Measured on 0.0625 °C steps with 0.06 °C noise at 60 s: sd 0.23 °C/h over 15 min, 0.08 over 30.
    """
    n = len(at_ms)
    if n < 3:
        return None
    start = at_ms[0]
    mean_at = sum(at_ms) / n - start
    mean = sum(values) / n
    across = down = 0.0
    for moment, value in zip(at_ms, values, strict=True):
        x = moment - start - mean_at
        down += x * x
        across += x * (value - mean)
    return across / down * HOUR_MS if down else None
