"""Thinning: fewer points for the eye, with every peak kept."""

from bisect import bisect_left
from collections.abc import Sequence
from typing import NamedTuple

from roewatch.room.reading import Flag


class Columns(NamedTuple):
    """Parallel columns in order of time, shape (n,) each."""

    at_ms: Sequence[int]
    value: Sequence[float]
    flag: Sequence[int]


def believed(flag: int) -> bool:
    """Whether a reading so flagged may speak for the water."""
    return flag <= Flag.NOT_EVALUATED


def thinned(points: Columns, edges: Sequence[int]) -> Columns:
    """First, lowest, highest and last of the points before, between and after each of `edges`.

    Readings that are not believed are thinned beside the others, four a column of their own, so
    that a sensor's error code does not pass for the water's highest, nor hide it.
    """
    if len(points.at_ms) <= 4 * (len(edges) + 1):
        return points
    if max(points.flag) <= Flag.NOT_EVALUATED:
        return _picked(points, _peaks(points, edges))
    parts: tuple[list[int], list[int]] = ([], [])
    for i, flag in enumerate(points.flag):
        parts[not believed(flag)].append(i)
    chosen = [part[i] for part in parts for i in _peaks(_picked(points, part), edges)]
    return _picked(points, sorted(chosen))


def _picked(points: Columns, indexes: Sequence[int]) -> Columns:
    return Columns(*([column[i] for i in indexes] for column in points))  # type: ignore[arg-type]


def _peaks(points: Columns, edges: Sequence[int]) -> list[int]:
    """Indexes of the first, lowest, highest and last point between each two edges, in order."""
    kept: list[int] = []
    start, length = 0, len(points.at_ms)
    for edge in [*edges, None]:
        end = length if edge is None else bisect_left(points.at_ms, edge, start)
        if end > start:
            part = points.value[start:end]  # slices and their min and max run at the speed of C
            low, high = start + part.index(min(part)), start + part.index(max(part))
            kept.extend(sorted({start, low, high, end - 1}))
        start = end
    return kept
