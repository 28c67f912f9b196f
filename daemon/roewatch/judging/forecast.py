"""A forecast: how long a value that moves, straight or towards its rest, needs to a bound."""

from math import log


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
