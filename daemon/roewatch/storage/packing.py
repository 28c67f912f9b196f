"""Packing: readings move from the hot table into their day's block, a bounded slice at a time."""

import sqlite3
from typing import NamedTuple

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.storage.cell import raw_of
from roewatch.storage.day import Cells, cells_of, day_of, opened, packed, slot_of
from roewatch.storage.rollup import rolled

SLICE_MS = 6 * HOUR_MS
"""The running day is packed in so many parts, so that little of it is ever read from the hot."""

LATENESS_MS = HOUR_MS
"""How long after such a part has ended its last readings and flags are waited for."""


class Packed(NamedTuple):
    """One day that was packed: its slot, the probe's number, and its last reading's moment."""

    slot: int
    probe: int
    last_ms: int


def horizon(now_ms: int) -> int:
    """Readings before this are ripe for packing at `now_ms`."""
    return (now_ms - LATENESS_MS) // SLICE_MS * SLICE_MS


def ripe(db: sqlite3.Connection, probe: int, before_ms: int) -> int | None:
    """The probe's oldest hot moment before `before_ms`, or None."""
    (found,) = db.execute(
        "SELECT min(at_ms) FROM hot WHERE probe = ? AND at_ms < ?", (probe, before_ms)
    ).fetchone()
    return None if found is None else int(found)


def pack_day(db: sqlite3.Connection, probe: int, at_ms: int, before_ms: int) -> Packed:
    """Move the probe's hot readings of the day `at_ms` lies in, up to `before_ms`, to its block.

    What the block holds already is merged in, so readings may come days late. Runs inside a
    transaction the caller has begun.
    """
    day = day_of(at_ms)
    span = (probe, day * DAY_MS, min((day + 1) * DAY_MS, before_ms))
    rows = db.execute(
        "SELECT at_ms, raw, flag FROM hot WHERE probe = ? AND at_ms >= ? AND at_ms < ?"
        " ORDER BY at_ms",
        span,
    ).fetchall()
    slot = slot_of(probe, day)
    before = db.execute("SELECT body FROM packed WHERE slot = ?", (slot,)).fetchone()
    cells = (
        opened(before[0], f"slot {slot}").merged(rows) if before and before[0] else cells_of(rows)
    )
    replace_day(db, slot, cells)
    db.execute("DELETE FROM hot WHERE probe = ? AND at_ms >= ? AND at_ms < ?", span)
    return Packed(slot, probe, cells.at_ms[-1])


def replace_day(db: sqlite3.Connection, slot: int, cells: Cells) -> None:
    """Write a day's block and its roll-ups. `cells` holds one reading or more."""
    even = cells.even()
    db.execute(
        "INSERT OR REPLACE INTO packed VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            slot,
            len(even.at_ms),
            even.at_ms[0],
            even.at_ms[-1],
            raw_of(even.cell[-1]),
            even.flag[-1],
            rolled(even, HOUR_MS),
            rolled(even, MINUTE_MS),
            packed(even),
        ),
    )
