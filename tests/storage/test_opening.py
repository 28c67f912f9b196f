"""Opening: an older file is brought up to date, a newer, foreign or damaged one is refused."""

import sqlite3
import threading
from pathlib import Path

import pytest
from tests.storage.builders import probe, said

from roewatch.storage import schema
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.trouble import BusyStoreError, DamagedStoreError, NewerStoreError, StoreError


def test_what_was_kept_is_there_after_opening_again(path: Path) -> None:
    store = Store.open(path)
    store.keep(Kept(readings=[said(24.0)], states={"judge": "x"}))
    store.close()
    again = Store.open(path)
    assert again.states() == {"judge": "x"}
    assert again.keep(Kept(readings=[said(24.0)])) == 0
    assert again.fully_checked
    again.close()


def test_commits_wait_for_the_disk(store: Store) -> None:
    assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert store._db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL


def test_a_newer_file_is_refused_and_left_alone(path: Path) -> None:
    Store.open(path).close()
    other = sqlite3.connect(path)
    other.execute(f"PRAGMA user_version = {schema.NEWEST + 1}")
    other.close()
    before = path.read_bytes()
    with pytest.raises(NewerStoreError, match="install the newer program"):
        Store.open(path)
    assert path.read_bytes() == before


def test_an_older_file_is_brought_up_to_date_step_by_step(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(path).close()
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, "CREATE TABLE later (x)"))
    monkeypatch.setattr(schema, "NEWEST", schema.NEWEST + 1)
    Store.open(path).close()
    check = sqlite3.connect(path)
    assert check.execute("PRAGMA user_version").fetchone() == (schema.NEWEST,)
    assert check.execute("SELECT count(*) FROM later").fetchone() == (0,)
    check.close()


def test_an_older_file_is_not_read_before_the_writer_has_brought_it_up_to_date(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(path).close()
    monkeypatch.setattr("roewatch.storage.reader.NEWEST", schema.NEWEST + 1)
    with pytest.raises(StoreError, match="older program"):
        Records(path).latest()


def test_another_programs_database_is_refused(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE guests (name)")
    other.close()
    with pytest.raises(StoreError, match="another program's"):
        Store.open(path)


def test_a_file_that_is_no_database_is_damaged(path: Path) -> None:
    path.write_bytes(b"not a database, but long enough to be looked at" * 100)
    with pytest.raises(DamagedStoreError):
        Store.open(path)


def test_a_file_out_of_reach_is_not_called_damaged(path: Path) -> None:
    path.mkdir()
    with pytest.raises(StoreError, match="check that this user") as told:
        Store.open(path)
    assert not isinstance(told.value, DamagedStoreError)


def test_a_page_of_rubbish_in_the_middle_is_found_at_the_start(path: Path) -> None:
    store = Store.open(path)
    store.keep(Kept(readings=[said(24.0, s=s) for s in range(20_000)]))
    store.close()
    content = bytearray(path.read_bytes())
    middle = len(content) // 2 // 4096 * 4096
    content[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(content)
    with pytest.raises(DamagedStoreError, match="table hot"):
        Store.open(path)


def test_a_running_store_can_be_checked_for_longer_than_its_start_allowed(
    path: Path,
) -> None:
    store = Store.open(path)
    store.keep(Kept(readings=[said(24.0, s=s) for s in range(200_000)]))
    store.close()
    hurried = Store.open(path, check_ms=0)
    assert not hurried.fully_checked
    records = Records(path)
    assert records.sound(60_000)
    records.close()
    hurried.close()


def test_a_second_writer_is_refused_and_may_open_once_the_first_has_closed(path: Path) -> None:
    first = Store.open(path)
    with pytest.raises(BusyStoreError, match="another roewatch"):
        Store.open(path)
    first.close()
    Store.open(path).close()


def test_another_thread_may_read_but_not_write(store: Store, records: Records) -> None:
    store.keep(Kept(readings=[said(24.0)]))
    seen: list[object] = []

    def work() -> None:
        seen.append(list(records.series(probe(), 0, 2**42).value))
        try:
            store.keep(Kept(readings=[said(25.0, s=1)]))
        except RuntimeError as error:
            seen.append(str(error))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join(10)
    assert seen[0] == [24.0]
    assert "belongs to the thread" in str(seen[1])


def test_threads_that_come_and_go_leave_no_connection_behind(
    store: Store, records: Records, path: Path
) -> None:
    def open_files() -> int:
        links = (link.resolve() for link in Path("/proc/self/fd").iterdir())
        return sum(link == path for link in links)

    records.latest()
    before = open_files()
    for _ in range(20):
        thread = threading.Thread(target=records.latest)
        thread.start()
        thread.join(10)
    assert open_files() <= before + 1


def test_reading_before_there_is_a_store_says_so(path: Path) -> None:
    with pytest.raises(StoreError, match="no store there yet"):
        Records(path).latest()


def test_a_folder_that_may_not_be_looked_into_is_said_so(tmp_path: Path) -> None:
    # root may look anywhere, so the kernel is asked for a name no folder can hold instead
    with pytest.raises(StoreError, match="run this as the daemon's user"):
        Records(tmp_path / ("x" * 300) / "room.db").counts()
