"""A backup: a sound copy of the whole store made while it runs; and the way back."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from roewatch.room.moment import iso
from roewatch.storage import opening
from roewatch.storage.day import opened
from roewatch.storage.schema import schema_of
from roewatch.storage.store import Store
from roewatch.storage.trouble import DamagedStoreError, StoreError, unusable

_PAGES_A_STEP = 1024  # 4 MB between two words about progress


@dataclass(frozen=True, slots=True, kw_only=True)
class Soundness:
    """What a full check of a file found. readings: how many it holds; faults: empty when sound."""

    schema: int
    readings: int
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A damaged file was moved out of the way: where it lies now, and what was wrong with it."""

    path: Path
    why: str


def backup(path: Path, to: Path, *, progress: Callable[[float], None] | None = None) -> Soundness:
    """Copy the store at `path` to the new file `to` as of this moment, and check the copy fully.

    The writer is not held up. progress: called with the share done, 0 to 1. Raises StoreError if
    `to` exists or the copy is not sound; then there is no `to`.
    """
    if to.exists():
        raise StoreError(f"{to}: is there already; name a new file, backups are not overwritten")
    part = to.with_name(to.name + ".part")
    part.unlink(missing_ok=True)
    source = opening.reading(path)
    copy = sqlite3.connect(part, isolation_level=None)
    try:
        # held for the whole copy: without it each commit of the writer would start it over
        with opening.snapshot(source):
            schema_of(source, path)  # the first read is what fixes the moment

            def told(_status: int, remaining: int, total: int) -> None:
                if progress is not None:
                    progress(1 - remaining / max(1, total))

            source.backup(copy, pages=_PAGES_A_STEP, progress=told)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
    finally:
        copy.close()
        source.close()
    found = verify(part)
    if found.faults:
        part.unlink()
        raise StoreError(f"{to}: the copy is not sound ({found.faults[0]}); nothing was kept")
    _put(part, to)
    return found


def verify(path: Path) -> Soundness:
    """Check every page, index, and packed day of a file. Raises StoreError if it is not a store."""
    connection = opening.reading(path)
    try:
        schema = schema_of(connection, path)
        found = [row[0] for row in connection.execute("PRAGMA integrity_check")]
        faults = [] if found == ["ok"] else found
        (readings,) = connection.execute("SELECT count(*) FROM hot").fetchone()
        for slot, n, body in connection.execute("SELECT slot, n, body FROM packed"):
            readings += n if body else 0
            faults += _faults_of_day(slot, n, body)
    except sqlite3.DatabaseError as error:
        raise unusable(path, error) from error
    finally:
        connection.close()
    return Soundness(schema=schema, readings=readings, faults=tuple(faults))


def _faults_of_day(slot: int, n: int, body: bytes | None) -> list[str]:
    if body is None:
        return []
    try:
        inside = len(opened(body, slot).at_ms)
    except DamagedStoreError as error:
        return [str(error)]
    return [] if inside == n else [f"slot {slot}: {inside} readings where {n} were packed"]


def restore(saved: Path, path: Path, *, now_ms: int) -> Path | None:
    """Put a backup in the place of the store at `path`, which must not be running.

    Returns where the store that was there lies now, or None if there was none. Raises StoreError
    if the backup is not sound, BusyStoreError if the store is in use; then nothing has changed.
    """
    found = verify(saved)
    if found.faults:
        raise StoreError(f"{saved}: not sound ({found.faults[0]}); choose another backup")
    lock = opening.lock_of(path)
    try:
        part = path.with_name(path.name + ".part")
        shutil.copyfile(saved, part)
        moved = _moved(path, "before-restore", now_ms) if path.exists() else None
        _put(part, path)
    finally:
        os.close(lock)
    return moved


def open_or_set_aside(path: Path, *, now_ms: int) -> tuple[Store, SetAside | None]:
    """Open the store; a damaged one is moved aside, with a text that says why, and a new one begun.

    Nothing is deleted: `salvage` reads what it can from the file that was set aside. Raises the
    other errors of `Store.open`.
    """
    try:
        return Store.open(path), None
    except DamagedStoreError as error:
        why = str(error)
    lock = opening.lock_of(path)
    try:
        moved = _moved(path, "damaged", now_ms)
        moved.with_name(moved.name + ".txt").write_text(
            f"{iso(now_ms)}: {path.name} was found damaged when it was opened and set aside.\n"
            f"What was found: {why}\n"
            "A new, empty store was begun in its place. Nothing of this file was deleted; salvage\n"
            "copies what can still be read from it into the new store.\n"
        )
    finally:
        os.close(lock)
    return Store.open(path), SetAside(path=moved, why=why)


def _moved(path: Path, word: str, now_ms: int) -> Path:
    """Rename the file, and its log with what is not in it yet, out of the way."""
    stamp = iso(now_ms - now_ms % 1000).replace("-", "").replace(":", "")
    to = path.with_name(f"{path.name}.{word}-{stamp}")
    n = 1
    while to.exists():
        n += 1
        to = path.with_name(f"{path.name}.{word}-{stamp}-{n}")
    for beside in ("-wal", "-shm"):
        log = path.with_name(path.name + beside)
        if log.exists():
            log.rename(to.with_name(to.name + beside))
    return path.rename(to)


def _put(part: Path, to: Path) -> None:
    """Make `part` be `to`, on disk before this returns."""
    for name in (part, part.parent):
        handle = os.open(name, os.O_RDONLY)
        if name == part.parent:
            part.rename(to)
        os.fsync(handle)
        os.close(handle)
