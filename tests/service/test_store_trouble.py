"""The store cannot keep: nothing is acknowledged, nothing is lost, and memory follows the disk."""

import logging
import threading
from pathlib import Path

import pytest
from tests.service.by_hand import House, house

from roewatch.alarms.notice import Outcome, Receipt
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.service.inbox import NotKept
from roewatch.service.replay import replay
from roewatch.storage.trouble import DamagedStoreError


def fill_disk(at: House) -> None:
    """From now on the file may not grow by a page, and what it has inside is used up."""
    db = at.store._db
    (pages,) = db.execute("PRAGMA page_count").fetchone()
    db.execute(f"PRAGMA max_page_count = {pages}")


def free_disk(at: House) -> None:
    at.store._db.execute("PRAGMA max_page_count = 1000000")


def lives_until_full(at: House) -> int:
    """A minute at a time until the store gives in; returns how many messages were sent."""
    sent = 0
    while not at.watch.backoff.trouble:
        at.lives(1)
        sent += len(at.setup.room.tanks)
        assert sent < 20_000, "the disk never filled"
    return sent


def test_a_full_disk_acknowledges_nothing_and_loses_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "roewatch.service.loop")
    with house(tmp_path, "A1", "A2") as at:
        at.lives(10)
        fill_disk(at)
        sent = 20 + lives_until_full(at)
        acknowledged = len(at.ear.acknowledged)
        assert acknowledged < sent
        for _ in range(5):
            at.clock.pass_by(MINUTE_MS)
            at.speaks("A1", 31.0)
            at.speaks("A2", 26.5)
            sent += 2
            at.round()
        assert len(at.ear.acknowledged) == acknowledged
        assert at.watch.counts.kept == acknowledged
        failures = [r for r in caplog.records if r.levelno == logging.WARNING]
        assert len(failures) == 1, "one line for the change, not one for each attempt"

        free_disk(at)
        at.clock.pass_by(MINUTE_MS)
        at.round()
        assert len(at.ear.acknowledged) == sent
        assert len(at.kept("a1-temperature")) == len(at.kept("a2-temperature")) == sent // 2
        assert not at.watch.backoff.trouble


def test_after_a_full_disk_the_alarms_are_those_of_a_replay(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        at.lives(10)
        at.lives(3, celsius=31.0)
        fill_disk(at)
        while not at.watch.backoff.trouble:
            at.lives(1, celsius=31.0)
        at.clock.pass_by(MINUTE_MS)
        at.round()
        free_disk(at)
        at.clock.pass_by(MINUTE_MS)
        at.round()
        at.lives(40)
        live = _told(at)
        readings = [
            Reading(probe, at_ms, value)
            for probe in ("a1-temperature", "a2-temperature")
            for at_ms, value, _ in at.kept(probe)
        ]
        replayed = {
            (c.alarm.key, c.alarm.state, c.at_ms)
            for c in replay(at.setup.room, sorted(readings, key=lambda r: (r.at_ms, r.probe)))
        }
        assert live == replayed
        assert any("above-window" in key for key, _, _ in live)


def _told(at: House) -> set[tuple[str, object, int]]:
    rows = at.store._db.execute("SELECT number FROM alarms").fetchall()
    assert rows
    return {(c.alarm.key, c.alarm.state, c.at_ms) for c in at.heard}


def test_a_person_is_told_at_once_that_nothing_can_be_kept(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        fill_disk(at)
        lives_until_full(at)
        note = JournalEntry(at_ms=at.clock.now_ms(), tank="A1", deed=Deed.NOTE, detail="fed")
        said = at.from_elsewhere(lambda: at.watch.enter(note))
        assert isinstance(said, NotKept)
        assert "full" in str(said)


def test_a_receipt_waits_out_a_full_disk_and_nobody_is_told_twice(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.lives(2)
        assert at.from_elsewhere(at.watch.test_notices) is None
        at.rounds_until(lambda: at.watch.counts.receipts == 1, "the test is handed over")
        fill_disk(at)
        lives_until_full(at)
        notice = at.phone.got[0]
        handing = threading.Thread(target=at.watch.on_receipt, args=(_receipt(at), None))
        handing.start()
        for _ in range(20):
            at.watch.deliver()
            at.round()
        assert handing.is_alive(), "the sender's thread waits, so the notice stays in flight"
        free_disk(at)
        at.clock.pass_by(MINUTE_MS)
        at.rounds_until(lambda: not handing.is_alive(), "the receipt is kept")
        assert [n.id for n in at.phone.got] == [notice.id]
        assert at.watch.counts.receipts == 2


def _receipt(at: House) -> Receipt:
    return Receipt(
        notice=at.phone.got[0].id,
        at_ms=at.clock.now_ms(),
        outcome=Outcome.TAKEN,
        attempt=2,
    )


def test_the_wait_between_attempts_grows_to_a_bound(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        fill_disk(at)
        lives_until_full(at)
        for _ in range(12):
            at.clock.pass_by(HOUR_MS)
            at.round()
        assert at.watch.backoff.failures == at.watch.counts.store_failures == 13
        at.clock.pass_by(29_000)
        at.round()
        assert at.watch.backoff.failures == 13
        at.clock.pass_by(1_000)
        at.round()
        assert at.watch.backoff.failures == 14


def test_a_damaged_file_ends_the_loop_so_that_a_start_can_set_it_aside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with house(tmp_path) as at:

        def damaged(_: object) -> int:
            raise DamagedStoreError("malformed")

        monkeypatch.setattr(at.store, "keep", damaged)
        at.speaks("A1", 26.5)
        with pytest.raises(DamagedStoreError):
            at.round()
        assert at.ear.acknowledged == []


def test_no_alarm_of_the_room_comes_of_the_time_the_store_was_away(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        at.lives(30)
        fill_disk(at)
        lives_until_full(at)
        at.clock.pass_by(2 * HOUR_MS)
        at.round()
        free_disk(at)
        at.clock.pass_by(MINUTE_MS)
        at.round()
        at.lives(30)
        assert at.raised(Kind.ROOM_SILENT, Kind.TANK_SILENT, Kind.PROBE_SILENT) == []
