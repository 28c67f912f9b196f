"""A curve: one probe's span, joined from packed days, their roll-ups and the hot table.

Call these inside one snapshot: packing moves readings from one place to the other.
"""

import sqlite3
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.storage.cell import SCALE
from roewatch.storage.day import NOTHING, Cells, cells_of, day_of, opened, probe_and_day, slot_of
from roewatch.storage.rollup import GRAINS_MS, Buckets, buckets_of
from roewatch.storage.thinning import Columns, thinned


class Frame(NamedTuple):
    """What is to be drawn: from_ms <= at_ms < to_ms, in pixel columns that end at `edges`.

    grain_ms: the widest bucket that still tells the columns apart, or 0.
    """

    from_ms: int
    to_ms: int
    edges: Sequence[int]
    grain_ms: int


def frame_of(from_ms: int, to_ms: int, columns: int) -> Frame:
    """The frame of `columns` equal spans."""
    edges = [from_ms + (to_ms - from_ms) * i // columns for i in range(1, columns)]
    width_ms = (to_ms - from_ms) / columns
    # half a column: a bucket across an edge is told in one of the two, a pixel off at most
    grain_ms = next((grain for grain in GRAINS_MS if 2 * grain <= width_ms), 0)
    return Frame(from_ms, to_ms, edges, grain_ms)


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
    cells = opened(found[1], f"slot {found[0]}").between(from_ms, end_ms)
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


def drawn(db: sqlite3.Connection, probe: int, frame: Frame) -> Columns:
    """The peaks of each pixel column; raw numbers, in order of time.

    Days that lie wholly in the frame are told from their roll-up when the columns are wide enough;
    then a column has lowest, highest and last, and moments are right to a part of a bucket. Days
    with readings that came late, or cut by the frame, are told from the readings themselves.
    """
    hot = cells_of(_hot(db, probe, frame.from_ms, frame.to_ms, -1))
    fresh = _Pieces(hot)
    pieces: list[Columns] = []
    buckets: list[tuple[Buckets, Buckets]] = []
    grain = {0: "NULL", HOUR_MS: "hours"}.get(frame.grain_ms, "minutes")
    for slot, rollup in db.execute(
        f"SELECT slot, {grain} FROM packed WHERE slot BETWEEN ? AND ? ORDER BY slot",  # noqa: S608
        (slot_of(probe, day_of(frame.from_ms)), slot_of(probe, day_of(frame.to_ms - 1))),
    ).fetchall():
        start_ms = probe_and_day(slot)[1] * DAY_MS
        end_ms = start_ms + DAY_MS
        late = fresh.taken(start_ms, end_ms)
        inside = frame.from_ms <= start_ms and end_ms <= frame.to_ms
        if rollup is not None and inside and not late.at_ms:
            buckets.append(buckets_of(rollup))
            continue
        cells = _day(db, slot).between(frame.from_ms, frame.to_ms)
        if late.at_ms:
            cells = cells.merged(zip(*late, strict=True))
        pieces.append(_raw_peaks(cells, frame))
    pieces.extend(_raw_peaks(rest, frame) for rest in fresh.rest())
    pieces.extend(_bucket_peaks(_joined(part), frame) for part in zip(*buckets, strict=True))
    rows = sorted({row for piece in pieces for row in zip(*piece, strict=True)})
    joined = Columns(*map(list, zip(*rows, strict=True))) if rows else Columns([], [], [])
    return thinned(joined, frame.edges)


class _Pieces:
    """Hot readings in order of time, from which days are taken out one after the other."""

    def __init__(self, cells: Cells) -> None:
        self._cells = cells
        self._at = 0
        self._rest: list[Cells] = []

    def taken(self, from_ms: int, to_ms: int) -> Cells:
        start = bisect_left(self._cells.at_ms, from_ms, self._at)
        end = bisect_left(self._cells.at_ms, to_ms, start)
        if start > self._at:
            self._rest.append(self._cells.slice(self._at, start))
        self._at = end
        return self._cells.slice(start, end)

    def rest(self) -> list[Cells]:
        return [*self._rest, self._cells.slice(self._at, len(self._cells.at_ms))]


def _day(db: sqlite3.Connection, slot: int) -> Cells:
    (body,) = db.execute("SELECT body FROM packed WHERE slot = ?", (slot,)).fetchone()
    return opened(body, f"slot {slot}") if body else NOTHING


def _raw_peaks(cells: Cells, frame: Frame) -> Columns:
    even = cells.even()
    scale = SCALE if even.cell and type(even.cell[0]) is int else 1
    left = thinned(Columns(even.at_ms, even.cell, even.flag), frame.edges)
    return left._replace(value=[cell / scale for cell in left.value])


def _joined(days: Iterable[Buckets]) -> Buckets:
    """Days of buckets one after the other, numbers raw."""
    columns: tuple[list[float], ...] = tuple([] for _ in Buckets._fields)
    numbers = {Buckets._fields.index(name) for name in ("low", "high", "last", "total")}
    for day in days:
        whole = not day.low or type(day.low[0]) is int
        for i, (all_days, more) in enumerate(zip(columns, day, strict=True)):
            all_days.extend([n / SCALE for n in more] if whole and i in numbers else more)
    return Buckets(*columns)  # type: ignore[arg-type]


def _bucket_peaks(buckets: Buckets, frame: Frame) -> Columns:
    rows: list[tuple[int, float, int]] = []

    def told(i: int, nth: int, value: float, before_ms: int) -> None:
        at_ms = buckets.start_ms[i] + frame.grain_ms * (2 * nth + 1) // (2 * buckets.n[i])
        # a bucket across an edge belongs to the column it began in, so its peaks stay there
        rows.append((min(at_ms, before_ms - 1), value, buckets.flag[i]))

    start = 0
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
