"""Opening the file: pragmas, one writer only, and a check that it is sound before it is used."""

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic

from roewatch.storage.schema import TABLES, schema_of
from roewatch.storage.trouble import BusyStoreError, DamagedStoreError, StoreError, unusable

_PRAGMAS = """
PRAGMA journal_mode = WAL;
PRAGMA synchronous = FULL;
PRAGMA foreign_keys = ON;
PRAGMA secure_delete = OFF;  -- Debian builds it on; overwriting packed rows with zeros is no use
PRAGMA wal_autocheckpoint = 8192;  -- 32 MB: pages many probes share are written home less often
PRAGMA journal_size_limit = 67108864;
PRAGMA cache_size = -16000;
"""


def lock_of(path: Path) -> int:
    """Take the one writer's lock beside `path`; returns its file descriptor.

    Raises BusyStoreError if another process, or this one, has it already. The kernel lets go of it
    at any death of the process, so a stale lock cannot be left behind.
    """
    handle = os.open(
        path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600
    )
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(handle)
        raise BusyStoreError(
            f"{path}: another roewatch writes to it; stop that one, or ask it through its pages"
        ) from error
    return handle


def writing(path: Path) -> sqlite3.Connection:
    """The writer's connection. Raises DamagedStoreError or StoreError, nothing changed yet."""
    try:
        connection = sqlite3.connect(path, timeout=10, isolation_level=None)
    except sqlite3.DatabaseError as error:
        raise unusable(path, error) from error
    try:
        schema_of(connection, path)
        connection.executescript(_PRAGMAS)
    except sqlite3.DatabaseError as error:
        connection.close()
        raise unusable(path, error) from error
    except StoreError:
        connection.close()
        raise
    return connection


def reading(path: Path) -> sqlite3.Connection:
    """A connection that cannot write, for any one thread. StoreError: no file there."""
    try:
        there = path.exists()
    except OSError as error:  # a folder this user may not look into
        raise StoreError(f"{path}: {error.strerror}; run this as the daemon's user") from error
    if not there:
        raise StoreError(f"{path}: no store there yet; `roewatch watch` starts one")
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode=ro",
        uri=True,
        timeout=10,
        isolation_level=None,
        check_same_thread=False,  # closed by whoever closes the records
    )
    try:
        connection.executescript("PRAGMA query_only = ON; PRAGMA cache_size = -2000;")
    except sqlite3.DatabaseError as error:
        connection.close()
        raise unusable(path, error) from error
    return connection


@contextmanager
def snapshot(connection: sqlite3.Connection) -> Iterator[None]:
    """All queries inside see one moment: a day packed between two of them is not missed."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        connection.execute("COMMIT")


def check_sound(connection: sqlite3.Connection, path: Path, at_most_ms: int) -> bool:
    """Check table by table, smallest first, for at most `at_most_ms`.

    Returns whether all of it was checked in that time. Raises DamagedStoreError at the first fault.
    """
    until = monotonic() + at_most_ms / 1000
    connection.set_progress_handler(lambda: monotonic() > until, 20_000)
    small_first = sorted(TABLES, key=lambda table: table in ("hot", "packed"))
    try:
        for table in small_first:
            faults = [row[0] for row in connection.execute(f"PRAGMA quick_check({table})")]
            if faults != ["ok"]:
                raise DamagedStoreError(f"{path}: table {table} is damaged ({faults[0]})")
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode == sqlite3.SQLITE_INTERRUPT:
            return False
        raise unusable(path, error, f"table {table}") from error
    finally:
        connection.set_progress_handler(None, 0)
    return True
