"""Backup, restore, and what happens to a damaged file."""

from pathlib import Path

import pytest
from tests.storage.builders import NOON, alarm, said

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.reading import Reading
from roewatch.storage.backup import backup, open_or_set_aside, restore, verify
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.salvage import salvage
from roewatch.storage.store import Store
from roewatch.storage.trouble import BusyStoreError, NewerStoreError, StoreError

PAGE = 4096


def _fill(store: Store, *, packed: int = 0, hot: int = 0) -> list[Reading]:
    early = [said(24 + s % 9 / 16, s=s * 5) for s in range(packed)]
    store.keep(Kept(readings=early))
    while store.pack_some(2**42):
        pass
    late = [said(22 + s % 9 / 16, s=100_000 + s, probe=f"p{s % 3}") for s in range(hot)]
    store.keep(Kept(readings=late))
    return [Reading(*r[:3]) for r in (*early, *late)]


def _spoil(path: Path, page: int) -> None:
    content = bytearray(path.read_bytes())
    content[page * PAGE : (page + 1) * PAGE] = b"\xa5" * PAGE
    path.write_bytes(content)


def test_a_backup_made_while_readings_come_in_is_one_moment_of_the_store(
    store: Store, path: Path, tmp_path: Path
) -> None:
    before = _fill(store, packed=30_000, hot=40_000)
    steps: list[float] = []

    def meanwhile(share: float) -> None:
        steps.append(share)
        if len(steps) < 500:  # would be in vain for ever if each commit started it over
            store.keep(Kept(readings=[said(1.0, s=500_000 + len(steps))]))

    found = backup(path, tmp_path / "saved.db", progress=meanwhile)
    assert steps[-1] == 1.0
    assert (found.readings, found.faults) == (len(before), ())
    assert not list(tmp_path.glob("saved.db?*"))
    saved = Store.open(tmp_path / "saved.db")
    assert sorted(saved.kept_after({})) == sorted(before)
    saved.close()


def test_a_backup_never_overwrites(store: Store, path: Path, tmp_path: Path) -> None:
    (tmp_path / "saved.db").write_text("mine")
    with pytest.raises(StoreError, match="not overwritten"):
        backup(path, tmp_path / "saved.db")
    assert (tmp_path / "saved.db").read_text() == "mine"


def test_a_restored_store_is_the_backup_and_the_other_is_set_aside(
    path: Path, tmp_path: Path
) -> None:
    store = Store.open(path)
    before = _fill(store, packed=50, hot=9)
    backup(path, tmp_path / "saved.db")
    store.keep(Kept(readings=[said(30.0, s=900_000)]))
    with pytest.raises(BusyStoreError):
        restore(tmp_path / "saved.db", path, now_ms=NOON)
    store.close()
    aside = restore(tmp_path / "saved.db", path, now_ms=NOON)
    assert aside == tmp_path / "room.db.before-restore-20260101T120000Z"
    for where, n in ((path, len(before)), (aside, len(before) + 1)):
        again = Store.open(where)
        assert len(list(again.kept_after({}))) == n
        again.close()


def test_a_damaged_backup_is_not_restored(path: Path, tmp_path: Path) -> None:
    store = Store.open(path)
    _fill(store, packed=5000, hot=5000)
    backup(path, tmp_path / "saved.db")
    store.close()
    _spoil(tmp_path / "saved.db", (tmp_path / "saved.db").stat().st_size // PAGE - 2)
    untouched = path.read_bytes()
    with pytest.raises(StoreError):
        restore(tmp_path / "saved.db", path, now_ms=NOON)
    assert path.read_bytes() == untouched


def test_verifying_finds_a_packed_day_whose_bytes_were_changed(store: Store, path: Path) -> None:
    _fill(store, packed=100)
    assert verify(path).faults == ()
    (body,) = store._db.execute("SELECT body FROM packed").fetchone()
    store._db.execute("UPDATE packed SET body = ?", (body[:-1] + bytes([body[-1] ^ 1]),))
    assert "checksum" in verify(path).faults[0]


def test_a_sound_store_opens_and_nothing_is_set_aside(path: Path) -> None:
    store, aside = open_or_set_aside(path, now_ms=NOON)
    assert aside is None
    store.close()


def test_a_newer_store_is_never_set_aside(path: Path) -> None:
    store = Store.open(path)
    store._db.execute("PRAGMA user_version = 999")
    store.close()
    with pytest.raises(NewerStoreError):
        open_or_set_aside(path, now_ms=NOON)
    assert path.exists()


def test_a_damaged_store_is_set_aside_whole_and_a_new_one_works(path: Path) -> None:
    store = Store.open(path)
    _fill(store, hot=20_000)
    store.close()
    _spoil(path, path.stat().st_size // PAGE // 2)
    damaged = path.read_bytes()
    store, aside = open_or_set_aside(path, now_ms=NOON)
    assert aside is not None
    assert aside.path.read_bytes() == damaged
    assert "hot" in aside.why
    assert aside.why in aside.path.with_name(aside.path.name + ".txt").read_text()
    assert store.keep(Kept(readings=[said(24.0)])) == 1
    store.close()


def test_salvage_brings_all_but_the_damaged_pages(path: Path) -> None:
    store = Store.open(path)
    everything = set(_fill(store, packed=30_000, hot=20_000))
    store.keep(
        Kept(
            journal=[JournalEntry(at_ms=NOON, tank="A1", deed=Deed.NOTE, detail="fry seen")],
            alarms=[alarm(1, state=State.NORMAL), alarm(2, raised_ms=NOON + 5)],
            changes=[AlarmChange(at_ms=NOON, alarm=alarm(1), before=State.NORMAL)],
        )
    )
    store.close()
    pages = path.stat().st_size // PAGE
    for page in (pages // 3, pages // 2, pages - 9):
        _spoil(path, page)
    store, aside = open_or_set_aside(path, now_ms=NOON)
    assert aside is not None
    store.keep(Kept(alarms=[alarm(1, tank="B1")]))
    found = salvage(aside.path, store)
    brought = set(store.kept_after({}))
    assert brought <= everything
    assert len(everything) - len(brought) <= 30_000 // 2 + 3 * 300  # one day's block, three pages
    assert found.readings == len(brought)
    assert found.lost
    assert (found.journal, found.alarms) == (1, 1)
    records = Records(path)
    assert [(a.number, a.tank) for a in records.alarms()] == [(2, "A1"), (1, "B1")]
    assert [change.alarm.number for change in records.changes(2)] == [2]
    again = salvage(aside.path, store)
    assert (again.readings, again.alarms) == (0, 0)
    records.close()
    store.close()


def test_a_file_without_a_readable_beginning_cannot_be_salvaged_and_says_so(
    store: Store, tmp_path: Path
) -> None:
    (tmp_path / "rubbish.db").write_bytes(b"\xa5" * PAGE * 3)
    with pytest.raises(StoreError, match="restore the last backup"):
        salvage(tmp_path / "rubbish.db", store)
