"""Salvage: what can still be read from a damaged store, put into a sound one."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import repeat
from pathlib import Path
from typing import Any

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.room.moment import iso
from roewatch.room.reading import Flag, Flagged
from roewatch.storage import entries, opening
from roewatch.storage.broods import brood_record
from roewatch.storage.cell import raw_of
from roewatch.storage.day import opened, probe_and_day
from roewatch.storage.kept import Kept
from roewatch.storage.ledger import alarm_of, plan_of
from roewatch.storage.store import Store
from roewatch.storage.trouble import DamagedStoreError, StoreError

_BATCH = 5_000
_FINEST = {"hot": 60_000, "rows": 1}  # a gap of a minute, or one row, is given up


@dataclass(slots=True)
class Salvaged:
    """What was brought over, and what could not be: `lost` names each gap in words.

    tables: those the damaged file has.
    """

    readings: int = 0
    journal: int = 0
    plans: int = 0
    broods: int = 0
    alarms: int = 0
    lost: list[str] = field(default_factory=list)
    tables: frozenset[str] = frozenset()


def salvage(damaged: Path, store: Store) -> Salvaged:
    """Bring readings, journal, plans, broods and closed alarms from `damaged` into `store`.

    Readings `store` has already are left alone, so it may be run again. Alarms that were still
    open are not brought: if their condition holds, the running store has raised it anew; nor are
    notices, which would be sent late. Closed alarms get the next free numbers.
    Raises StoreError if not even the file's table of contents can be read.
    """
    found = Salvaged()
    try:
        source = opening.reading(damaged)
    except DamagedStoreError as error:
        raise _hopeless(damaged, error) from error
    try:
        found.tables = frozenset(
            name for (name,) in source.execute("SELECT name FROM sqlite_schema")
        )
        names = dict(_rows(source, "probes", "id, name", found))
        for row in _hot_probes(source, names, found):
            names.setdefault(row, f"salvaged-{row}")
        for probe, name in names.items():
            _hot(source, probe, name, store, found)
        _packed(source, names, store, found)
        _entries(source, store, found)
        _alarms(source, store, found)
    except sqlite3.DatabaseError as error:
        raise _hopeless(damaged, error) from error
    finally:
        source.close()
    return found


def _hopeless(damaged: Path, error: Exception) -> StoreError:
    return StoreError(
        f"{damaged}: not even its table of contents can be read ({error}); "
        "restore the last backup instead"
    )


def _spans(
    db: sqlite3.Connection, query: str, key: tuple[int, int], finest: int
) -> Iterator[tuple[Any, ...] | tuple[int, int]]:
    """Rows of `query` (its first column the key, its last two `?` the bounds) around any damage.

    Walks in from both ends; between two faults it tries the middle, down to gaps of `finest`.
    A gap that is given up comes as a pair (first, last) of keys.
    """
    spans = [key]
    while spans:
        low, high = spans.pop()
        for order in ("", " DESC"):
            try:
                for row in db.execute(query + order, (low, high)):
                    yield row
                    low, high = (row[0] + 1, high) if not order else (low, row[0] - 1)
                break
            except sqlite3.DatabaseError:
                continue
        else:
            middle = (low + high) // 2
            if high - low <= finest:
                yield (low, high)
            else:
                spans += [(middle + 1, high), (low, middle)]


def _rows(
    db: sqlite3.Connection, table: str, columns: str, found: Salvaged
) -> Iterator[tuple[Any, ...]]:
    """Rows of an ordinary table, without the leading rowid; none if it is younger than the file."""
    if table not in found.tables:
        return
    try:
        (highest,) = db.execute(f"SELECT max(rowid) FROM {table}").fetchone()  # noqa: S608
    except sqlite3.DatabaseError as error:
        found.lost.append(f"{table}: {error}")
        return
    width = columns.count(",") + 2
    query = f"SELECT rowid, {columns} FROM {table} WHERE rowid BETWEEN ? AND ? ORDER BY rowid"  # noqa: S608
    for row in _spans(db, query, (0, highest or 0), _FINEST["rows"]):
        if len(row) == width:
            yield row[1:]
        else:
            found.lost.append(f"{table}: rows {row[0]} to {row[1]}")


def _hot_probes(db: sqlite3.Connection, names: dict[int, str], found: Salvaged) -> list[int]:
    """Numbers of probes in the hot table whose names were lost with a page."""
    try:
        return [
            row[0] for row in db.execute("SELECT DISTINCT probe FROM hot") if row[0] not in names
        ]
    except sqlite3.DatabaseError as error:
        found.lost.append(f"hot: which probes it holds ({error}); those with a name are tried")
        return []


def _hot(db: sqlite3.Connection, probe: int, name: str, store: Store, found: Salvaged) -> None:
    query = (
        f"SELECT at_ms, raw, flag FROM hot WHERE probe = {int(probe)} AND at_ms BETWEEN ? AND ?"  # noqa: S608
        " ORDER BY at_ms"
    )
    batch: list[Flagged] = []
    for row in _spans(db, query, _ends(db, probe), _FINEST["hot"]):
        if len(row) == 2:
            found.lost.append(f"{name}: hot readings from {iso(row[0])} to {iso(row[1])}")
            continue
        at_ms, cell, flag = row
        batch.append(Flagged(name, at_ms, raw_of(cell), 0.0, Flag(flag)))
        if len(batch) == _BATCH:
            found.readings += store.keep(Kept(readings=batch))
            batch = []
    found.readings += store.keep(Kept(readings=batch))


def _ends(db: sqlite3.Connection, probe: int) -> tuple[int, int]:
    ends = []
    for which, otherwise in (("min", 0), ("max", 2**43 - 1)):
        try:
            query = f"SELECT {which}(at_ms) FROM hot WHERE probe = ?"  # noqa: S608
            (at_ms,) = db.execute(query, (probe,)).fetchone()
            ends.append(at_ms if at_ms is not None else 0)
        except sqlite3.DatabaseError:
            ends.append(otherwise)
    return ends[0], ends[1]


def _packed(db: sqlite3.Connection, names: dict[int, str], store: Store, found: Salvaged) -> None:
    for slot, body in _rows(db, "packed", "slot, body", found):
        probe, _ = probe_and_day(slot)
        name = names.get(probe, f"salvaged-{probe}")
        if body is None:
            continue
        try:
            cells = opened(body, slot)
        except DamagedStoreError as error:
            found.lost.append(f"{name}: {error}")
            continue
        flags = map(Flag, cells.flag)
        readings = list(map(Flagged, repeat(name), cells.at_ms, cells.raw(), repeat(0.0), flags))
        found.readings += store.keep(Kept(readings=readings))


def _entries(db: sqlite3.Connection, store: Store, found: Salvaged) -> None:
    rows = _rows(db, "journal", "tank, at_ms, deed, until_ms, detail", found)
    journal = [entries.journal_entry((r[0], r[1], r[2], r[3], r[4])) for r in rows]
    plans = [plan_of(*row) for row in _rows(db, "plans", "tank, quantity, steps", found)]
    broods = [brood_record(body) for (body,) in _rows(db, "brood_records", "body", found)]
    store.keep(Kept(journal=journal, plans=plans, broods=broods))
    found.journal, found.plans, found.broods = len(journal), len(plans), len(broods)


def _alarms(db: sqlite3.Connection, store: Store, found: Salvaged) -> None:
    """Closed alarms and their lives, under new numbers, unless they were brought before."""
    closed: dict[int, Alarm] = {}
    here = store.raised()
    number = store.next_alarm_number()
    for (body,) in _rows(db, "alarms", "body", found):
        alarm = alarm_of(body)
        if alarm.state is State.NORMAL and (alarm.key, alarm.raised_ms) not in here:
            closed[alarm.number] = replace(alarm, number=number)
            number += 1
    changes = [
        AlarmChange(
            at_ms=at_ms,
            alarm=replace(alarm_of(body), number=closed[was].number),
            before=State(before),
        )
        for was, at_ms, before, body in _rows(db, "changes", "number, at_ms, before, body", found)
        if was in closed
    ]
    store.keep(Kept(alarms=list(closed.values()), changes=changes))
    found.alarms = len(closed)
