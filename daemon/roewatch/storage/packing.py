"""Packing: readings move from the hot table into their day's block, a bounded slice at a time."""

import sqlite3
from contextlib import suppress
from typing import NamedTuple

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.storage import entries
from roewatch.storage.cell import raw_of
from roewatch.storage.day import Cells, cells_of, day_of, opened, packed, slot_of
from roewatch.storage.rollup import GRAINS, WORTH, buckets_of, rolled
from roewatch.storage.trouble import DamagedDayError

SLICE_MS = 6 * HOUR_MS
"""The running day is packed in so many parts, so that little of it is ever read from the hot."""

LATENESS_MS = HOUR_MS
"""How long after such a part has ended its last readings and flags are waited for."""

_EVERY_MINUTE = DAY_MS // MINUTE_MS  # a day with more than WORTH times this surely rolls up


class Packed(NamedTuple):
    """One day that was packed: its slot, the probe's number, and its last reading's moment."""

    slot: int
    probe: int
    last_ms: int


def horizon(now_ms: int, hot_ms: int = LATENESS_MS) -> int:
    """Readings before this are ripe for packing at `now_ms`; later than `hot_ms` ago none is."""
    return (now_ms - hot_ms) // SLICE_MS * SLICE_MS


def ripe(db: sqlite3.Connection, probe: int, before_ms: int) -> int | None:
    """The probe's oldest hot moment before `before_ms`, or None."""
    (found,) = db.execute(
        "SELECT min(at_ms) FROM hot WHERE probe = ? AND at_ms < ?", (probe, before_ms)
    ).fetchone()
    return None if found is None else int(found)


def pack_day(db: sqlite3.Connection, probe: int, at_ms: int, before_ms: int) -> Packed:
    """Move the probe's hot readings of the day `at_ms` lies in, up to `before_ms`, to its block.

    What the block holds already is merged in, so readings may come days late; for a day whose
    readings were let go they are too late, and dropped. Runs inside a transaction the caller has
    begun.
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
    if before is None:
        replace_day(db, slot, cells_of(rows))
    elif before[0] is None:
        entries.tally(db, "past-retention", len(rows))
    else:
        cells = sound_day(db, slot, before[0])
        replace_day(db, slot, cells.merged(rows) if cells else cells_of(rows))
    db.execute("DELETE FROM hot WHERE probe = ? AND at_ms >= ? AND at_ms < ?", span)
    (last_ms,) = db.execute("SELECT last_ms FROM packed WHERE slot = ?", (slot,)).fetchone()
    return Packed(slot, probe, last_ms)


def replace_day(db: sqlite3.Connection, slot: int, cells: Cells) -> None:
    """Write a day's block and its roll-ups. `cells` holds one reading or more."""
    even = cells.even()
    db.execute(
        f"INSERT OR REPLACE INTO packed (slot, n, first_ms, last_ms, last_raw, last_flag, body,"  # noqa: S608
        f" {', '.join(GRAINS)}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            slot,
            len(even.at_ms),
            even.at_ms[0],
            even.at_ms[-1],
            raw_of(even.cell[-1]),
            even.flag[-1],
            packed(even),
            *(rolled(even, grain_ms) for grain_ms in GRAINS.values()),
        ),
    )


def let_go(db: sqlite3.Connection, probe: int, before_ms: int, at_most: int) -> int:
    """Let go of the readings of days that ended by `before_ms`, keeping their roll-ups.

    Returns how many days it was. A day with too few readings to be worth a roll-up keeps them.
    """
    return db.execute(
        "UPDATE packed SET body = NULL WHERE slot IN (SELECT slot FROM packed WHERE slot >= ?"
        " AND slot < ? AND body IS NOT NULL AND hours IS NOT NULL LIMIT ?)",
        (slot_of(probe, 0), slot_of(probe, day_of(before_ms)), at_most),
    ).rowcount


def shed_minutes(db: sqlite3.Connection, at_most: int) -> int:
    """Give up minute roll-ups that can be made again from readings; returns how many days'."""
    return db.execute(
        "UPDATE packed SET minutes = NULL WHERE slot IN (SELECT slot FROM packed"
        " WHERE minutes IS NOT NULL AND body IS NOT NULL LIMIT ?)",
        (at_most,),
    ).rowcount


def roll_again(db: sqlite3.Connection, after: int, at_most: int) -> list[int]:
    """Make minute roll-ups again where they were shed, past slot `after`; returns the slots."""
    shed = db.execute(
        "SELECT slot, body FROM packed WHERE slot > ? AND minutes IS NULL AND body IS NOT NULL"
        " AND n > ? ORDER BY slot LIMIT ?",
        (after, _EVERY_MINUTE * WORTH, at_most),
    ).fetchall()
    for slot, body in shed:
        cells = sound_day(db, slot, body)
        if cells is not None:
            replace_day(db, slot, cells)
    return [slot for slot, _ in shed]


def sound_day(db: sqlite3.Connection, slot: int, body: bytes) -> Cells | None:
    """A day's readings; None when its block is damaged, which is then moved out of the way."""
    try:
        return opened(body, slot)
    except DamagedDayError as error:
        set_day_aside(db, slot, str(error))
        return None


def set_day_aside(db: sqlite3.Connection, slot: int, why: str) -> bool:
    """Move a packed day to where damaged ones are kept, so that the day can be brought in again.

    Where only a roll-up is damaged it is made again from the readings instead, and that is False.
    """
    (body,) = db.execute("SELECT body FROM packed WHERE slot = ?", (slot,)).fetchone()
    if body is not None:
        with suppress(DamagedDayError):
            replace_day(db, slot, opened(body, slot))
            return False
    db.execute(
        "INSERT INTO damaged (why, slot, n, hours, tens, minutes, body)"
        " SELECT ?, slot, n, hours, tens, minutes, body FROM packed WHERE slot = ?",
        (why, slot),
    )
    db.execute("DELETE FROM packed WHERE slot = ?", (slot,))
    return True


def damaged_days(
    db: sqlite3.Connection, after: int, at_most: int
) -> tuple[list[DamagedDayError], int]:
    """Look at up to `at_most` packed days after slot `after`.

    Returns those that are damaged and the last slot looked at, or -1 when there are no more.
    """
    rows = db.execute(
        f"SELECT slot, body, {', '.join(GRAINS)} FROM packed WHERE slot > ? ORDER BY slot LIMIT ?",  # noqa: S608
        (after, at_most),
    ).fetchall()
    found = []
    for slot, body, *rollups in rows:
        try:
            if body is not None:
                opened(body, slot)
            for rollup in filter(None, rollups):
                buckets_of(rollup, slot)
        except DamagedDayError as error:
            found.append(error)
    return found, rows[-1][0] if rows else -1
