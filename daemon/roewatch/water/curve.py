"""A curve: a printed table or a bench series, read between its points."""

import itertools
from bisect import bisect_right
from collections.abc import Sequence

from roewatch.water.refusal import RefusedError


def read_between(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """y at `x` by straight lines between points; xs rising, x inside them.

    Raises RefusedError outside the table: it is never carried on past its ends.
    """
    if not xs[0] <= x <= xs[-1]:
        raise RefusedError(f"{x:g} lies outside the table, {xs[0]:g} to {xs[-1]:g}.")
    i = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    share = (x - xs[i]) / (xs[i + 1] - xs[i])
    return ys[i] + share * (ys[i + 1] - ys[i])


def _slopes(xs: Sequence[float], ys: Sequence[float]) -> list[float]:
    """Slope at each point so that the curve never overshoots (Fritsch and Carlson 1980)."""
    widths = [b - a for a, b in itertools.pairwise(xs)]
    rises = [(b - a) / w for a, b, w in zip(ys, ys[1:], widths, strict=False)]
    if len(rises) == 1:
        return [rises[0], rises[0]]
    slopes = [_end(widths[0], widths[1], rises[0], rises[1])]
    for w0, w1, r0, r1 in zip(widths, widths[1:], rises, rises[1:], strict=False):
        if r0 * r1 <= 0.0:
            slopes.append(0.0)
            continue
        a, b = 2.0 * w1 + w0, w1 + 2.0 * w0
        slopes.append((a + b) / (a / r0 + b / r1))
    slopes.append(_end(widths[-1], widths[-2], rises[-1], rises[-2]))
    return slopes


def _end(w0: float, w1: float, r0: float, r1: float) -> float:
    slope = ((2.0 * w0 + w1) * r0 - w0 * r1) / (w0 + w1)
    if slope * r0 <= 0.0:
        return 0.0
    if r0 * r1 <= 0.0 and abs(slope) > 3.0 * abs(r0):
        return 3.0 * r0
    return slope


def read_smooth(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """y at `x` on the monotone cubic through the points (PCHIP); xs rising, x inside them.

    Source: Fritsch and Butland 1984, SIAM J. Sci. Stat. Comput. 5:300-304.
    Raises RefusedError outside the points, or with fewer than two.
    """
    if len(xs) < 2:
        raise RefusedError("a curve needs two points or more. Add steps to the bench series.")
    if not xs[0] <= x <= xs[-1]:
        raise RefusedError(f"{x:g} lies outside the points, {xs[0]:g} to {xs[-1]:g}.")
    slopes = _slopes(xs, ys)
    i = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    w = xs[i + 1] - xs[i]
    s = (x - xs[i]) / w
    return (
        ys[i] * (1 + 2 * s) * (1 - s) ** 2
        + slopes[i] * w * s * (1 - s) ** 2
        + ys[i + 1] * s * s * (3 - 2 * s)
        + slopes[i + 1] * w * s * s * (s - 1)
    )
