"""The watch loop: what is acknowledged and when, what is refused, and who gets an answer."""

import logging
import threading
from pathlib import Path

import pytest
from tests.service.by_hand import NOON, HandClock, House, house, room_file

from roewatch.alarms.alarm import State
from roewatch.alarms.book import UnknownAlarm
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS, SECOND_MS
from roewatch.room.reading import Flag
from roewatch.service.founding import fold_of
from roewatch.storage.kept import Kept
from roewatch.storage.trouble import FullStoreError


def test_what_cannot_be_read_is_counted_and_acknowledged(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.says("house/A1", b"hello")
        at.ear.says("somewhere/else", b"24.6")
        at.speaks("A1", 26.5)
        at.round()
        assert at.watch.refusals.total == at.watch.counts.refused == 2
        assert {topic.topic for topic in at.watch.refusals.topics()} == {
            "house/A1",
            "somewhere/else",
        }
        assert len(at.ear.acknowledged) == 3
        assert [value for _, value, _ in at.kept()] == [26.5]


def test_nothing_is_acknowledged_before_it_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with house(tmp_path) as at:
        keep = at.store.keep

        def noted(kept: Kept) -> int:
            new = keep(kept)
            if kept.readings:
                at.ear.order.append(f"kept {len(kept.readings)}")
            return new

        monkeypatch.setattr(at.store, "keep", noted)
        at.speaks("A1", 26.5)
        at.round()
        assert at.ear.order == ["kept 1", "acknowledged 1"]


def test_a_reading_that_comes_twice_is_kept_once_and_acknowledged_twice(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.speaks("A1", 26.5)
        at.round()
        at.speaks("A1", 26.5)
        at.round()
        assert len(at.ear.acknowledged) == 2
        assert len(at.kept()) == at.watch.counts.kept == 1


def test_a_reading_true_at_arrival_is_kept_once_though_a_crash_made_the_broker_repeat_it(
    tmp_path: Path,
) -> None:
    clock = HandClock()
    room_file(tmp_path, "A1", timed=False)
    with house(tmp_path, clock=clock) as at:
        at.ear.says("house/A1", b"26.5")
        at.round()
        [unheard] = at.ear.acknowledged  # kept, and the broker never hears of it
    clock.pass_by(MINUTE_MS)
    with house(tmp_path, clock=clock) as at:
        at.ear.hears(unheard._replace(dup=True, arrival_ms=clock.now_ms()))
        at.ear.says("house/A1", b"26.5")
        at.round()
        assert len(at.ear.acknowledged) == 2
        assert [at_ms for at_ms, _, _ in at.kept()] == [NOON, NOON + MINUTE_MS]


def test_an_alarm_is_published_and_kept_and_reaches_the_phone(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        _too_warm(at)
        at.rounds_until(lambda: at.watch.counts.receipts > 0, "the phone's receipt is kept")
        (alarm,) = at.open_alarms(Kind.ABOVE_WINDOW)
        assert any(topic == "roewatch/boathouse/alarm/A1" for topic, _, _ in at.ear.published)
        assert alarm.number in at.phone.got[0].alarms
        assert at.store.due_notices(at.clock.now_ms()) == []


def test_a_board_whose_clock_runs_ahead_is_told_and_its_tank_goes_on_being_watched(
    tmp_path: Path,
) -> None:
    with house(tmp_path, "A1", "A2") as at:
        at.lives(5)
        for minute in range(30):
            at.clock.pass_by(MINUTE_MS)
            at.speaks("A1", 26.5 if minute < 10 else 31.0, at_ms=at.clock.now_ms() + 60 * MINUTE_MS)
            at.speaks("A2", 26.5)
            at.watch.tick()
            at.round()
        assert [(a.tank, a.probe) for a in at.open_alarms(Kind.PROBE_CLOCK)] == [
            ("A1", "a1-temperature")
        ]
        assert [alarm.tank for alarm in at.open_alarms(Kind.ABOVE_WINDOW)] == ["A1"]
        assert at.kept()[-1][0] == at.clock.now_ms()
        at.lives(30)
        assert [a.state for a in at.open_alarms(Kind.PROBE_CLOCK)] == [State.RETURNED]


def test_what_a_person_may_not_do_is_said_to_that_person_and_the_watch_goes_on(
    tmp_path: Path,
) -> None:
    with house(tmp_path) as at:
        refused = at.from_elsewhere(
            lambda: at.watch.change_alarm(lambda book, at_ms: book.acknowledge(7, "Keeper", at_ms))
        )
        assert isinstance(refused, UnknownAlarm)
        nowhere = JournalEntry(at_ms=NOON, tank="Z9", deed=Deed.NOTE, detail="x")
        said = at.from_elsewhere(lambda: at.watch.enter(nowhere))
        assert isinstance(said, ValueError)
        assert "Z9" in str(said)
        assert "A1" in str(said)
        assert not at.watch.backoff.trouble


def test_an_acknowledgement_is_on_disk_when_the_person_is_answered(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        _too_warm(at)
        (alarm,) = at.open_alarms(Kind.ABOVE_WINDOW)
        assert (
            at.from_elsewhere(
                lambda: at.watch.change_alarm(
                    lambda book, at_ms: book.acknowledge(alarm.number, "Keeper", at_ms)
                )
            )
            is None
        )
        (alarm,) = at.open_alarms(Kind.ABOVE_WINDOW)
        assert (alarm.state, alarm.acknowledged_by) == (State.ACKNOWLEDGED, "Keeper")


def test_a_notice_stays_in_flight_until_its_receipt_is_kept(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        made = at.from_elsewhere(at.watch.test_notices)
        assert made is None
        with at.phone.changed:
            assert at.phone.changed.wait_for(lambda: len(at.phone.got) == 1, 10)
        # the phone has it, the receipt waits for the loop: whoever asks now must not send it again
        at.watch.sender.push(at.store.due_notices(at.clock.now_ms()))  # type: ignore[union-attr]
        at.rounds_until(lambda: at.watch.counts.receipts == 1, "the receipt is kept")
        at.watch.deliver()
        at.rounds_until(lambda: True, "one more round")
        assert len(at.phone.got) == 1
        assert at.store.due_notices(at.clock.now_ms()) == []


def test_a_bug_in_judging_keeps_the_reading_and_is_one_alarm_of_the_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with house(tmp_path, "A1", "A2", "A3") as at:
        fold = at.watch._fold
        judge = fold.judge.take

        def broken(reading):  # type: ignore[no-untyped-def]
            if reading.probe != "a3-temperature":
                raise ZeroDivisionError("a bug")
            return judge(reading)

        monkeypatch.setattr(fold.judge, "take", broken)
        caplog.set_level(logging.ERROR)
        at.lives(5)
        assert [flag for _, _, flag in at.kept("a1-temperature")] == [Flag.NOT_EVALUATED] * 5
        assert len(at.kept("a2-temperature")) == len(at.kept("a3-temperature")) == 5
        assert at.kept("a3-temperature")[-1][2] != Flag.NOT_EVALUATED
        assert len(at.raised(Kind.JUDGING_FAILED)) == 1
        assert sum(record.exc_info is not None for record in caplog.records) <= 2
        monkeypatch.undo()
        at.lives(59)
        assert at.open_alarms(Kind.JUDGING_FAILED)[0].present
        at.lives(3)
        assert not at.open_alarms(Kind.JUDGING_FAILED)[0].present


def test_an_alarm_about_a_bug_outlives_a_restart_by_a_quiet_hour(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        at.watch._fold.faults.note("judging", ValueError("a bug"), clock.now_ms())
        at.lives(2)
        assert at.open_alarms(Kind.JUDGING_FAILED)[0].present
    with house(tmp_path, clock=clock) as at:
        at.lives(50)
        assert at.open_alarms(Kind.JUDGING_FAILED)[0].present
        at.lives(12)
        assert not at.open_alarms(Kind.JUDGING_FAILED)[0].present
        assert len([c for c in at.heard if c.alarm.kind is Kind.JUDGING_FAILED]) == 1


def test_a_tick_with_a_bug_is_passed_over_and_time_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with house(tmp_path, "A1", "A2") as at:
        fold = at.watch._fold
        advance = fold.judge.advance
        failures = iter([True, True])

        def broken(to_ms):  # type: ignore[no-untyped-def]
            if next(failures, False):
                raise KeyError("a bug")
            return advance(to_ms)

        monkeypatch.setattr(fold.judge, "advance", broken)
        at.lives(8, celsius=31.0)
        assert at.raised(Kind.ABOVE_WINDOW)
        assert all(flag != Flag.NOT_EVALUATED for _, _, flag in at.kept()[1:])


def test_a_payload_that_meets_a_bug_costs_only_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with house(tmp_path) as at:
        keep = at.store.keep

        def picky(kept: Kept) -> int:
            if any(reading.raw == 13.0 for reading in kept.readings):
                raise OverflowError("a bug")
            return keep(kept)

        monkeypatch.setattr(at.store, "keep", picky)
        for celsius in (26.5, 13.0, 26.6):
            at.clock.pass_by(60_000)
            at.speaks("A1", celsius)
        at.round()
        for _ in range(10):
            at.clock.pass_by(60_000)
            at.round()
        assert [value for _, value, _ in at.kept()] == [26.5, 26.6]
        assert len(at.ear.acknowledged) == 3
        assert at.watch.refusals.total == 1
        assert at.open_alarms(Kind.JUDGING_FAILED) or at.watch._fold.faults.counted


def test_the_loop_ends_when_told_and_answers_whoever_asks_too_late(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        stop = threading.Event()
        stop.set()
        at.watch.run(stop)
        with pytest.raises(TimeoutError, match="did not answer"):
            at.watch.test_notices()


def test_after_a_clean_end_the_next_start_judges_nothing_again(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.lives(3)
        for _ in range(4):  # less than what judging knows is kept after by itself
            at.clock.pass_by(5 * SECOND_MS)
            at.speaks("A1", 26.5)
            at.round()
        stop = threading.Event()
        stop.set()
        at.watch.run(stop)
        fold = fold_of(at.setup, at.store)
        assert fold.judge.positions() == {"a1-temperature": at.clock.now_ms()}
        assert fold.put_back(at.store, at.clock.now_ms()).readings == []


def test_an_end_in_trouble_keeps_nothing_that_the_disk_is_behind_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with house(tmp_path) as at:
        at.lives(3)

        def full(_: Kept) -> int:
            raise FullStoreError("the disk is full")

        with monkeypatch.context() as patched:
            patched.setattr(at.store, "keep", full)
            at.clock.pass_by(5 * SECOND_MS)
            at.speaks("A1", 26.5)
            at.round()
        stop = threading.Event()
        stop.set()
        at.watch.run(stop)  # there is room again, and nobody has tried since
        last_ms = at.clock.now_ms() - 5 * SECOND_MS
        assert fold_of(at.setup, at.store).judge.positions()["a1-temperature"] <= last_ms
        assert len(at.ear.acknowledged) == 3


def _too_warm(at: House) -> None:
    at.lives(3)
    at.lives(12, celsius=31.0)
    assert at.raised(Kind.ABOVE_WINDOW)
