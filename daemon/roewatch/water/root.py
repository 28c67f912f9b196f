"""A root: the pH at which a function that rises with pH is nought."""

from collections.abc import Callable

from roewatch.water.refusal import RefusedError

_LOWEST_PH = 1.0
_HIGHEST_PH = 14.0
_PH_STEP = 1e-8  # the root is good to this


def root_of(rises: Callable[[float], float], *, near: float, reach: float) -> float:
    """The pH at which a rising function is nought: a bracket about `near`, then secants (Illinois).

    reach: how far from `near` the first try goes; it grows until the root is held.
    """
    near = min(max(near, _LOWEST_PH), _HIGHEST_PH)
    f_near = rises(near)
    if f_near == 0.0:
        return near
    low, f_low, high, f_high = _bracket(rises, near, f_near, reach)
    side = 0
    while high - low > _PH_STEP:
        ph = low - f_low * (high - low) / (f_high - f_low) if f_high > f_low else (low + high) / 2
        f = rises(ph)
        if f == 0.0 or abs(ph - (low if f < 0.0 else high)) < _PH_STEP / 4.0:
            return ph
        if f < 0.0:
            low, f_low = ph, f
            f_high = f_high / 2.0 if side < 0 else f_high
            side = -1
        else:
            high, f_high = ph, f
            f_low = f_low / 2.0 if side > 0 else f_low
            side = 1
    return (low + high) / 2.0


def _bracket(
    rises: Callable[[float], float], near: float, f_near: float, reach: float
) -> tuple[float, float, float, float]:
    """(low, f(low), high, f(high)) with the root between. Raises RefusedError where none is."""
    toward = -1.0 if f_near > 0.0 else 1.0
    ends = _LOWEST_PH if toward < 0.0 else _HIGHEST_PH
    far, f_far = near, f_near
    while far != ends:
        before, f_before = far, f_far
        far = near + toward * reach
        far = max(far, ends) if toward < 0.0 else min(far, ends)
        f_far = rises(far)
        if f_far * toward >= 0.0:
            if toward < 0.0:
                return far, f_far, before, f_before
            return before, f_before, far, f_far
        reach *= 8.0
    raise RefusedError(
        f"no pH between {_LOWEST_PH:g} and {_HIGHEST_PH:g} fits these numbers. "
        "Check the alkalinity and its unit."
    )
