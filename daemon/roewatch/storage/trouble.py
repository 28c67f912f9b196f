"""Trouble with the store: what can go wrong with the file, each with what to do about it."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec, Protocol, TypeVar

from roewatch.room.moment import DAY_MS, iso


class StoreError(Exception):
    """Something about the store's file stops the work; the text says what and how to mend it."""


class NewerStoreError(StoreError):
    """The file was written by a newer program; opening it could lose what it does not know."""


class DamagedStoreError(StoreError):
    """The file is not a sound store: `set_aside` it, start a new one, `salvage` the old one."""


class DamagedDayError(DamagedStoreError):
    """One packed day does not match its checksum; the rest of the file may well be sound."""

    def __init__(self, slot: int, why: str) -> None:
        probe, day = slot >> 20, slot & 0xFFFFF
        date = iso(day * DAY_MS)[:10]
        super().__init__(f"the readings of probe number {probe} on {date} are damaged: {why}")
        self.slot = slot
        self.why = why


class FullStoreError(StoreError):
    """The disk is full. Nothing of this transaction was kept; what was kept before is safe."""


class BusyStoreError(StoreError):
    """Another process writes to this file."""


@contextmanager
def read_from(path: Path) -> Iterator[None]:
    """What SQLite meets inside is raised as a StoreError: readers know no database."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        raise unusable(path, error) from error


class _Placed(Protocol):
    path: Path


_Reader = TypeVar("_Reader", bound=_Placed)
_Asked = ParamSpec("_Asked")
_Told = TypeVar("_Told")


def in_words(
    query: Callable[Concatenate[_Reader, _Asked], _Told],
) -> Callable[Concatenate[_Reader, _Asked], _Told]:
    """A method that reads the file at its object's `path`, as `read_from` does."""

    @wraps(query)
    def told(self: _Reader, /, *args: _Asked.args, **kwargs: _Asked.kwargs) -> _Told:
        with read_from(self.path):
            return query(self, *args, **kwargs)

    return told


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


def unusable(path: Path, error: sqlite3.DatabaseError, part: str = "") -> StoreError:
    """Why the file at `path`, or `part` of it, cannot be used: damaged, or only out of reach."""
    primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return DamagedStoreError(
            f"{path}: {part or 'the file'} is damaged ({error}); the daemon sets it aside when it"
            " starts, and `roewatch salvage` brings back what it still holds"
        )
    # never damage: a file that was set aside for want of rights would look like a lost one
    return StoreError(
        f"{path}: cannot be used ({error}); check that this user may read and write it and its "
        "folder, and that the disk is well"
    )
