"""Trouble with the store: what can go wrong with the file, each with what to do about it."""

import sqlite3
from pathlib import Path


class StoreError(Exception):
    """Something about the store's file stops the work; the text says what and how to mend it."""


class NewerStoreError(StoreError):
    """The file was written by a newer program; opening it could lose what it does not know."""


class DamagedStoreError(StoreError):
    """The file is not a sound store: `set_aside` it, start a new one, `salvage` the old one."""


class FullStoreError(StoreError):
    """The disk is full. Nothing of this transaction was kept; what was kept before is safe."""


class BusyStoreError(StoreError):
    """Another process writes to this file."""


def trouble(path: Path, error: BaseException) -> StoreError | None:
    """What SQLite met in the file at `path`, in our words; None when it is no trouble of a file."""
    primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if primary == sqlite3.SQLITE_FULL:
        return FullStoreError(
            f"{path}: the disk is full, so nothing of this was kept; free some space"
        )
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return DamagedStoreError(f"{path}: {error}; nothing of this was kept")
    if primary in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
        return StoreError(f"{path}: {error}, so nothing of this was kept; check the disk")
    return None
