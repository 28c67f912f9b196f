"""A curve: one probe's span, joined from packed days, their roll-ups and the hot table.

Call these inside one snapshot: packing moves readings from one place to the other.
"""

import sqlite3
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from roewatch.room.moment import DAY_MS
from roewatch.storage.cell import SCALE, raw_of
from roewatch.storage.day import Cells, cells_of, day_of, opened, probe_and_day, slot_of
from roewatch.storage.rollup import GRAINS, Buckets, buckets_of
from roewatch.storage.thinning import Columns, thinned
from roewatch.storage.trouble import DamagedDayError


class Frame(NamedTuple):
    """What is to be drawn: from_ms <= at_ms < to_ms, in pixel columns that end at `edges`.

    grain: the roll-up whose buckets still tell the columns apart, or none.
    """

    from_ms: int
    to_ms: int
    edges: Sequence[int]
    grain: str


def frame_of(from_ms: int, to_ms: int, columns: int) -> Frame:
    """The frame of `columns` equal spans."""
    edges = [from_ms + (to_ms - from_ms) * i // columns for i in range(1, columns)]
    width_ms = (to_ms - from_ms) / columns
    # half a column: a bucket across an edge is told in one of the two, a pixel off at most
    grain = next((name for name, span_ms in GRAINS.items() if 2 * span_ms <= width_ms), "")
    return Frame(from_ms, to_ms, edges, grain)


def chunk(
    db: sqlite3.Connection, probe: int, from_ms: int, to_ms: int, at_most: int
) -> tuple[Cells, int]:
    """The next readings from `from_ms` on, in order, and from where to go on (`to_ms`: no more).

    Up to `at_most` of them from the hot table, or one packed day.
    """
    found = db.execute(
        "SELECT slot, body FROM packed WHERE slot BETWEEN ? AND ? AND last_ms >= ?"
        " AND body IS NOT NULL ORDER BY slot LIMIT 1",
        (slot_of(probe, day_of(from_ms)), slot_of(probe, day_of(to_ms - 1)), from_ms),
    ).fetchone()
    day_ms = probe_and_day(found[0])[1] * DAY_MS if found else to_ms
    if day_ms > from_ms:
        rows = _hot(db, probe, from_ms, day_ms, at_most)
        if len(rows) == at_most:
            return cells_of(rows), rows[-1][0] + 1
        if rows or not found:
            return cells_of(rows), day_ms
    end_ms = min(to_ms, day_ms + DAY_MS)
    cells = opened(found[1], found[0]).between(from_ms, end_ms)
    late = _hot(db, probe, max(from_ms, day_ms), end_ms, -1)
    return (cells.merged(late) if late else cells), end_ms


def _hot(
    db: sqlite3.Connection, probe: int, from_ms: int, to_ms: int, at_most: int
) -> list[tuple[int, int | float, int]]:
    return db.execute(
        "SELECT at_ms, raw, flag FROM hot WHERE probe = ? AND at_ms >= ? AND at_ms < ?"
        " ORDER BY at_ms LIMIT ?",
        (probe, from_ms, to_ms, at_most),
    ).fetchall()


def whole(db: sqlite3.Connection, probe: int, from_ms: int, to_ms: int) -> Columns:
    """Every reading with from_ms <= at_ms < to_ms; raw numbers."""
    at_ms: list[int] = []
    raw: list[float] = []
    flag: list[int] = []
    while from_ms < to_ms:
        cells, from_ms = chunk(db, probe, from_ms, to_ms, 50_000)
        at_ms.extend(cells.at_ms)
        raw.extend(cells.raw())
        flag.extend(cells.flag)
    return Columns(at_ms, raw, flag)


def drawn(db: sqlite3.Connection, probe: int, frame: Frame, from_ms: int, to_ms: int) -> Columns:
    """The peaks of each pixel column of `frame` with from_ms <= at_ms < to_ms; raw numbers.

    from_ms, to_ms: the frame itself, or the part of it that lies between two calibrations.
    Packed days are told from their roll-up when the columns are wide enough: lowest, highest and
    last of each, at moments right to a part of a bucket. A bucket across the frame's border is
    told whole, since it is half a pixel; one across a calibration is not: its day is read itself.
    """
    hot = cells_of(_hot(db, probe, from_ms, to_ms, -1)).even()
    pieces = [_raw_peaks(hot, frame)]
    buckets: dict[str, list[tuple[Buckets, Buckets]]] = {grain: [] for grain in GRAINS}
    for slot, rollup, gone in db.execute(
        f"SELECT slot, {frame.grain or 'NULL'}, body IS NULL FROM packed"  # noqa: S608
        " WHERE slot BETWEEN ? AND ? ORDER BY slot",
        (slot_of(probe, day_of(from_ms)), slot_of(probe, day_of(to_ms - 1))),
    ).fetchall():
        start_ms = probe_and_day(slot)[1] * DAY_MS
        begins_cut = from_ms > max(start_ms, frame.from_ms)
        ends_cut = to_ms < min(start_ms + DAY_MS, frame.to_ms)
        usable = rollup is not None and not begins_cut and not ends_cut
        for grain, look in _ways(db, slot, frame.grain if usable else "", rollup, gone):
            try:
                found = look()
            except DamagedDayError:
                continue  # a picture makes do with what is left; `check_some` reports it
            if isinstance(found, Cells):
                pieces.append(_raw_peaks(found.between(from_ms, to_ms), frame))
            else:
                buckets[grain].append(found)
            break
    for grain, days in buckets.items():
        joined = [_joined(part) for part in zip(*days, strict=True)]
        pieces.extend(_bucket_peaks(part, frame, GRAINS[grain]) for part in joined)
    rows = sorted({row for piece in pieces for row in zip(*piece, strict=True)})
    points = Columns(*map(list, zip(*rows, strict=True))) if rows else Columns([], [], [])
    return thinned(points, frame.edges)


_Look = Callable[[], Cells | tuple[Buckets, Buckets]]


def _ways(
    db: sqlite3.Connection, slot: int, grain: str, rollup: bytes | None, gone: bool
) -> Iterator[tuple[str, _Look]]:
    """How a day can be told, best first: its fitting roll-up, itself, or what else is left."""
    if grain and rollup is not None:
        yield grain, partial(buckets_of, rollup, slot, totals=False)
    if not gone:
        (body,) = db.execute("SELECT body FROM packed WHERE slot = ?", (slot,)).fetchone()
        yield "", partial(opened, body, slot)
    query = "SELECT minutes, tens, hours FROM packed WHERE slot = ?"
    left = zip(("minutes", "tens", "hours"), db.execute(query, (slot,)).fetchone(), strict=True)
    for finest, other in left:
        if other is not None:
            yield finest, partial(buckets_of, other, slot, totals=False)


def _raw_peaks(cells: Cells, frame: Frame) -> Columns:
    left = thinned(Columns(cells.at_ms, cells.cell, cells.flag), frame.edges)
    return left._replace(value=[raw_of(cell) for cell in left.value])


def _joined(days: Iterable[Buckets]) -> Buckets:
    """Days of buckets one after the other; cells all of one kind."""
    columns: tuple[list[float], ...] = tuple([] for _ in Buckets._fields)
    days = [day for day in days if day.low]
    fine = any(type(day.low[0]) is float for day in days)
    for day in days:
        even = day
        if fine and type(day.low[0]) is int:
            low, high, last = ([n / SCALE for n in part] for part in (day.low, day.high, day.last))
            even = day._replace(low=low, high=high, last=last)
        for all_days, more in zip(columns, even, strict=True):
            all_days.extend(more)
    return Buckets(*columns)  # type: ignore[arg-type]


def _bucket_peaks(buckets: Buckets, frame: Frame, grain_ms: int) -> Columns:
    rows: list[tuple[int, float, int]] = []

    def told(i: int, nth: int, value: float, before_ms: int) -> None:
        at_ms = buckets.start_ms[i] + grain_ms * (2 * nth + 1) // (2 * buckets.n[i])
        # a bucket across an edge belongs to the column it began in, so its peaks stay there
        inside_ms = min(max(at_ms, frame.from_ms), before_ms - 1)
        rows.append((inside_ms, raw_of(value), buckets.flag[i]))

    start = bisect_left(buckets.start_ms, frame.from_ms - grain_ms + 1)
    for edge in [*frame.edges, frame.to_ms]:
        end = bisect_left(buckets.start_ms, edge, start)
        if end > start:
            low, high = min(buckets.low[start:end]), max(buckets.high[start:end])
            at_low, at_high = buckets.low.index(low, start), buckets.high.index(high, start)
            told(at_low, buckets.low_nth[at_low], low, edge)
            told(at_high, buckets.high_nth[at_high], high, edge)
            told(end - 1, buckets.n[end - 1] - 1, buckets.last[end - 1], edge)
        start = end
    rows.sort()
    return Columns(*map(list, zip(*rows, strict=True))) if rows else Columns([], [], [])
