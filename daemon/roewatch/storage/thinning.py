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


def thinned(points: Columns, *, from_ms: int, to_ms: int, columns: int) -> Columns:
    """At most four points for each of `columns` equal spans: first, lowest, highest, last.

    Readings that are not believed are thinned beside the others, four a column of their own, so
    that a sensor's error code does not pass for the water's highest, nor hide it.
    """
    if len(points.at_ms) <= 4 * columns:
        return points
    doubted = (
        [i for i, flag in enumerate(points.flag) if not believed(flag)]
        if (max(points.flag) > Flag.NOT_EVALUATED)
        else []
    )
    edges = [from_ms + (to_ms - from_ms) * i // columns for i in range(1, columns)]
    if not doubted:
        return _picked(points, _peaks(points, edges))
    doubtful = set(doubted)
    trusted = [i for i in range(len(points.at_ms)) if i not in doubtful]
    chosen: list[int] = []
    for part in (trusted, doubted):
        peaks = _peaks(_picked(points, part), edges)
        chosen.extend(part[i] for i in peaks)
    return _picked(points, sorted(chosen))


def _picked(points: Columns, indexes: Sequence[int]) -> Columns:
    return Columns(
        [points.at_ms[i] for i in indexes],
        [points.value[i] for i in indexes],
        [points.flag[i] for i in indexes],
    )


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
