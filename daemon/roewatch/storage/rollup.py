"""A roll-up: a packed day told in hours, ten minutes or minutes, for pictures of long spans."""

import struct
import zlib
from bisect import bisect_left
from collections.abc import Callable, Sequence
from operator import add, mul, sub
from typing import Any, NamedTuple

from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.reading import Flag
from roewatch.storage.column import Numbers, column, numbers_of, skipped
from roewatch.storage.day import Cells
from roewatch.storage.trouble import DamagedDayError

GRAINS = {"hours": HOUR_MS, "tens": 10 * MINUTE_MS, "minutes": MINUTE_MS}
"""How wide a bucket can be, coarsest first, by the column that holds it."""

_HEAD = struct.Struct("<IHH")  # checksum, buckets of believed readings, and of doubted ones
WORTH = 4  # readings a bucket, under which the day itself is as quick to read


class Buckets(NamedTuple):
    """Spans of a day with readings in them, parallel columns in order of time, shape (n,) each.

    start_ms: the bucket's beginning. n: readings in it. low, high, last: cells (scaled like the
    day's own). total: their sum, so mean = total / n. low_nth, high_nth: which of the bucket's
    readings was lowest and highest, counted from 0. flag: the worst in it.
    """

    start_ms: Sequence[int]
    n: Sequence[int]
    low: Numbers
    high: Numbers
    last: Numbers
    total: Numbers
    low_nth: Sequence[int]
    high_nth: Sequence[int]
    flag: Sequence[int]


def rolled(cells: Cells, grain_ms: int) -> bytes | None:
    """An `even` day's roll-up; None where it would be hardly shorter than the day itself.

    Readings that are not believed are rolled up apart, so that a sensor's error code cannot pass
    for the water's highest.
    """
    doubted = (
        [i for i, flag in enumerate(cells.flag) if flag > Flag.NOT_EVALUATED]
        if (max(cells.flag) > Flag.NOT_EVALUATED)
        else []
    )
    trusted = cells if not doubted else _without(cells, set(doubted))
    parts = [_buckets(trusted, grain_ms), _buckets(_only(cells, doubted), grain_ms)]
    counts = [len(part.start_ms) for part in parts]
    if sum(counts) * WORTH > len(cells.at_ms):
        return None
    columns = [column(numbers) for part in parts for numbers in _apart(part, sub)]
    content = b"".join(columns)
    return _HEAD.pack(zlib.crc32(content), *counts) + content


def buckets_of(packed: bytes, slot: int, *, totals: bool = True) -> tuple[Buckets, Buckets]:
    """The believed and the doubted buckets of a day's roll-up; pictures go without `totals`.

    Raises DamagedDayError if it is not sound.
    """
    checksum, *counts = _HEAD.unpack_from(packed) if len(packed) >= _HEAD.size else (None,)
    if zlib.crc32(packed[_HEAD.size :]) != checksum:
        raise DamagedDayError(slot, "a roll-up does not match its checksum")
    at, parts = _HEAD.size, []
    for n in counts:
        columns: list[Numbers] = []
        for name in Buckets._fields:
            if name == "total" and not totals:
                columns.append(())
                at = skipped(packed, at, n)
                continue
            numbers, at = numbers_of(packed, at, n)
            columns.append(numbers)
        parts.append(_apart(Buckets(*columns), add))  # type: ignore[arg-type]
    return parts[0], parts[1]


def _apart(part: Buckets, way: Callable[[Any, Any], Any]) -> Buckets:
    """High, last and total as their distance from low (`sub`), which is small; or back (`add`)."""
    if not part.low or type(part.low[0]) is float:  # even: one is, so all are
        return part  # a distance between floats would not add up to the same bits again
    return part._replace(
        high=list(map(way, part.high, part.low)),
        last=list(map(way, part.last, part.low)),
        total=list(map(way, part.total, map(mul, part.low, part.n))),
    )


def _only(cells: Cells, wanted: Sequence[int]) -> Cells:
    return Cells(*([numbers[i] for i in wanted] for numbers in cells))  # type: ignore[arg-type]


def _without(cells: Cells, unwanted: set[int]) -> Cells:
    return _only(cells, [i for i in range(len(cells.at_ms)) if i not in unwanted])


def _buckets(cells: Cells, grain_ms: int) -> Buckets:
    rows, start, length = [], 0, len(cells.at_ms)
    while start < length:
        start_ms = cells.at_ms[start] // grain_ms * grain_ms
        end = bisect_left(cells.at_ms, start_ms + grain_ms, start)
        part = cells.cell[start:end]
        low, high = min(part), max(part)
        rows.append(
            (
                start_ms, end - start, low, high, part[-1], sum(part), part.index(low),
                part.index(high), max(cells.flag[start:end]),
            )
        )  # fmt: skip
        start = end
    return Buckets(*zip(*rows, strict=True)) if rows else Buckets(*([()] * 9))
