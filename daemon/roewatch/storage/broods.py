"""Broods: the statements that keep the records of broods, which are only ever added to.

Each runs inside a transaction its caller has begun.
"""

import json
import sqlite3
from collections.abc import Sequence

from roewatch.breeding.record import BroodRecord, record_of, written


def keep_broods(db: sqlite3.Connection, records: Sequence[BroodRecord]) -> None:
    """New records; one known by its id changes nothing."""
    db.executemany(
        "INSERT OR IGNORE INTO brood_records (id, brood, at_ms, made_ms, body)"
        " VALUES (?, ?, ?, ?, ?)",
        [(r.id, r.brood, r.at_ms, r.made_ms, _text(r)) for r in records],
    )


def brood_records(db: sqlite3.Connection, brood: str | None = None) -> list[BroodRecord]:
    """The records of one brood, or of all, in the order in which they happened."""
    found = db.execute(
        "SELECT body FROM brood_records WHERE ? IS NULL OR brood = ? ORDER BY at_ms, made_ms, id",
        (brood, brood),
    )
    return [brood_record(body) for (body,) in found]


def brood_record(body: str) -> BroodRecord:
    """The record as a row's body tells it."""
    return record_of(json.loads(body))


def _text(record: BroodRecord) -> str:
    return json.dumps(written(record), ensure_ascii=False, separators=(",", ":"))
