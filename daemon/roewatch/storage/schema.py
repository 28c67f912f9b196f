"""The schema of the store's file, and the numbered steps that bring an older file up to it."""

import sqlite3
from pathlib import Path

from roewatch.storage.trouble import NewerStoreError, StoreError, unusable

APPLICATION = 0x524F4557  # "ROEW", so that `file` and restore can tell ours from another database

_FIRST = """
CREATE TABLE probes (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;

-- raw: whole ten-thousandths, or the float itself (see cell.py); flag: 1 takes no byte at all
CREATE TABLE hot (
    probe INTEGER NOT NULL, at_ms INTEGER NOT NULL, raw NOT NULL, flag INTEGER NOT NULL,
    PRIMARY KEY (probe, at_ms)
) WITHOUT ROWID;

CREATE TABLE states (key TEXT PRIMARY KEY, body TEXT NOT NULL) STRICT;
CREATE TABLE tallies (name TEXT PRIMARY KEY, n INTEGER NOT NULL) STRICT;

CREATE TABLE alarms (
    number INTEGER PRIMARY KEY, key TEXT NOT NULL, episode INTEGER NOT NULL, tank TEXT NOT NULL,
    state TEXT NOT NULL, raised_ms INTEGER NOT NULL, body TEXT NOT NULL
) STRICT;
CREATE INDEX alarms_by_key ON alarms (key, episode);
CREATE INDEX alarms_by_tank ON alarms (tank, raised_ms);
CREATE INDEX alarms_by_time ON alarms (raised_ms);
CREATE INDEX alarms_open ON alarms (number) WHERE state <> 'normal';

CREATE TABLE changes (
    id INTEGER PRIMARY KEY, number INTEGER NOT NULL, at_ms INTEGER NOT NULL, before TEXT NOT NULL,
    body TEXT NOT NULL, UNIQUE (number, at_ms, before, body)
) STRICT;

-- next_ms: when it is due (again); NULL once it is finished
CREATE TABLE notices (
    id TEXT PRIMARY KEY, rank INTEGER NOT NULL, due_ms INTEGER NOT NULL, next_ms INTEGER,
    attempts INTEGER NOT NULL DEFAULT 0, body TEXT NOT NULL
) STRICT;
CREATE INDEX notices_due ON notices (rank, due_ms) WHERE next_ms IS NOT NULL;
CREATE TABLE told (
    number INTEGER NOT NULL, notice TEXT NOT NULL, PRIMARY KEY (number, notice)
) STRICT, WITHOUT ROWID;
CREATE TABLE receipts (
    id INTEGER PRIMARY KEY, notice TEXT NOT NULL REFERENCES notices (id), at_ms INTEGER NOT NULL,
    outcome TEXT NOT NULL, reason TEXT NOT NULL, attempt INTEGER NOT NULL
) STRICT;
CREATE INDEX receipts_by_notice ON receipts (notice);

CREATE TABLE journal (
    id INTEGER PRIMARY KEY, tank TEXT NOT NULL, at_ms INTEGER NOT NULL, deed TEXT NOT NULL,
    until_ms INTEGER, detail TEXT NOT NULL, UNIQUE (tank, at_ms, deed, detail)
) STRICT;
CREATE INDEX journal_by_time ON journal (at_ms);

CREATE TABLE plans (
    tank TEXT NOT NULL, quantity TEXT NOT NULL, start_ms INTEGER NOT NULL, steps TEXT NOT NULL,
    PRIMARY KEY (tank, quantity, start_ms)
) STRICT;
"""

_PACKED = """
-- slot: probe << 20 | day since 1970; n, last_*: of the readings in body, which is NULL once they
-- were let go and only the roll-ups are left. Small columns first: a year of hours is then read
-- without touching a single body.
CREATE TABLE packed (
    slot INTEGER PRIMARY KEY, n INTEGER NOT NULL, first_ms INTEGER NOT NULL,
    last_ms INTEGER NOT NULL, last_raw REAL NOT NULL, last_flag INTEGER NOT NULL,
    hours BLOB, minutes BLOB, body BLOB
) STRICT;
"""

_MIRRORED = """
-- how far the mirror is sure the target has everything: by probe a moment, by list a row number
CREATE TABLE mirrored (key TEXT PRIMARY KEY, at INTEGER NOT NULL) STRICT;
-- spans in which readings came, or flags were put right, behind the newest of their probe
CREATE TABLE late (
    id INTEGER PRIMARY KEY AUTOINCREMENT, probe INTEGER NOT NULL, first_ms INTEGER NOT NULL,
    last_ms INTEGER NOT NULL
) STRICT;
"""

_TENS = """
-- tens: a roll-up of ten minutes; in its place before the long columns, hence the copy
ALTER TABLE packed RENAME TO packed_before;
CREATE TABLE packed (
    slot INTEGER PRIMARY KEY, n INTEGER NOT NULL, first_ms INTEGER NOT NULL,
    last_ms INTEGER NOT NULL, last_raw REAL NOT NULL, last_flag INTEGER NOT NULL,
    hours BLOB, tens BLOB, minutes BLOB, body BLOB
) STRICT;
INSERT INTO packed SELECT slot, n, first_ms, last_ms, last_raw, last_flag, hours, NULL, minutes,
    body FROM packed_before;
DROP TABLE packed_before;
"""

_DAMAGED = """
-- packed days that do not match their checksum, out of the way but not thrown away
CREATE TABLE damaged (
    id INTEGER PRIMARY KEY, why TEXT NOT NULL, slot INTEGER NOT NULL, n INTEGER NOT NULL,
    hours BLOB, tens BLOB, minutes BLOB, body BLOB
) STRICT;
"""

_AMENDED = """
-- journal entries as they were before somebody put them right or took them back; a number that
-- was given once is never given to another entry
CREATE TABLE amended (
    id INTEGER PRIMARY KEY, number INTEGER NOT NULL, changed_ms INTEGER NOT NULL,
    by TEXT NOT NULL, withdrawn INTEGER NOT NULL, tank TEXT NOT NULL, at_ms INTEGER NOT NULL,
    deed TEXT NOT NULL, until_ms INTEGER, detail TEXT NOT NULL
) STRICT;
CREATE INDEX amended_by_number ON amended (number);
CREATE INDEX amended_by_time ON amended (at_ms);
"""

BROODS = """
-- only ever added to: a record is put right or taken back by another, see breeding/record.py
CREATE TABLE brood_records (
    id TEXT PRIMARY KEY, brood TEXT NOT NULL, at_ms INTEGER NOT NULL, made_ms INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX brood_records_by_brood ON brood_records (brood);
"""

STEPS: tuple[str, ...] = (_FIRST, _PACKED, _MIRRORED, _TENS, _DAMAGED, _AMENDED, BROODS)
"""Step n brings schema n-1 to n. Only ever added to: a file in the field remembers its number."""

NEWEST = len(STEPS)

TABLES = (
    "probes", "hot", "packed", "states", "tallies", "alarms", "changes", "notices", "told",
    "receipts", "journal", "plans", "mirrored", "late",
    "damaged", "amended", "brood_records",
)  # fmt: skip


def schema_of(connection: sqlite3.Connection, path: Path) -> int:
    """The file's schema number; 0 for a file with nothing in it.

    Raises NewerStoreError past `NEWEST`, StoreError for another program's database,
    DamagedStoreError if the file is not a database.
    """
    try:
        (number,) = connection.execute("PRAGMA user_version").fetchone()
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.DatabaseError as error:
        raise unusable(path, error) from error
    if application != APPLICATION and tables:
        raise StoreError(f"{path}: another program's database; name a file of its own in [storage]")
    if number > NEWEST:
        raise NewerStoreError(
            f"{path}: schema {number}, but this program knows only up to {NEWEST}; install the "
            "newer program again, or restore a backup made before the update"
        )
    return int(number)


def migrate(connection: sqlite3.Connection, path: Path) -> int:
    """Bring the file up to `NEWEST`, one transaction a step; returns how many steps were taken."""
    found = schema_of(connection, path)
    for number, step in enumerate(STEPS[found:], start=found + 1):
        connection.executescript(
            f"BEGIN IMMEDIATE; PRAGMA application_id = {APPLICATION}; {step}"
            f"; PRAGMA user_version = {number}; COMMIT;"
        )
    return NEWEST - found
