"""A clock that is wrong, or put right: nobody counts as silent for it, and no notice waits."""

import logging
from pathlib import Path

import pytest
from tests.service.by_hand import NOON, HandClock, house

from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.service.clock_sense import ClockSense, Step
from roewatch.service.heart import Heart
from roewatch.service.settings.sections import HeartbeatSettings

SILENCE = (Kind.ROOM_SILENT, Kind.TANK_SILENT, Kind.PROBE_SILENT, Kind.PROBE_PATCHY)


@pytest.mark.parametrize("step_h", [-2, 2])
@pytest.mark.parametrize("own_time", [True, False])
def test_a_clock_set_by_two_hours_is_no_alarm(tmp_path: Path, step_h: int, own_time: bool) -> None:
    with house(tmp_path, "A1", "A2", "A3") as at:
        at.lives(90)
        set_by_ms = step_h * HOUR_MS + 12_345  # no moment is met a second time
        at.clock.set_by(set_by_ms)
        for _ in range(180):
            at.clock.pass_by(MINUTE_MS)
            true_ms = at.clock.now_ms() - set_by_ms
            for tank in at.setup.room.tanks:
                # a probe with a clock of its own is not moved by ours
                at.speaks(tank.id, 26.5, at_ms=true_ms if own_time else None)
            at.watch.tick()
            at.round()
        at.watch.deliver()
        at.round()
        assert [c.alarm.key for c in at.heard] == []
        assert at.phone.got == []
        assert at.watch.counts.kept == at.watch.counts.readings


@pytest.mark.parametrize("step_h", [-2, 2])
def test_a_tank_that_is_too_warm_after_the_step_is_still_found(tmp_path: Path, step_h: int) -> None:
    with house(tmp_path, "A1") as at:
        at.lives(30)
        at.clock.set_by(step_h * HOUR_MS)
        # a clock set back is caught up with first: until then moments are taken already
        at.lives(10 + (0 if step_h > 0 else 120), celsius=26.5)
        at.lives(12, celsius=31.0)
        assert len(at.raised(Kind.ABOVE_WINDOW)) == 1


def test_after_a_start_in_1970_nobody_is_silent_and_the_clock_is_waited_for(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "roewatch.service.clock_sense")
    with house(tmp_path, "A1", "A2") as at:
        at.lives(30)
    clock = HandClock(at_ms=5 * MINUTE_MS)
    with house(tmp_path, clock=clock) as at:
        at.idles(30)
        assert at.heard == []
        said = [r.getMessage().split()[0] for r in caplog.records]
        assert said.count("clock_not_believed") == 1
        clock.set_by(NOON + HOUR_MS - clock.now_ms())
        at.lives(60)
        assert at.raised(*SILENCE) == []
        said = [r.getMessage().split()[0] for r in caplog.records]
        assert said.count("clock_believed_again") == 1
        at.idles(30)
        assert len(at.raised(*SILENCE)) >= 1, "with a right clock silence is found as ever"


def test_while_the_clock_shows_1970_messages_stay_at_the_broker_and_none_is_lost(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "roewatch.service")
    clock = HandClock(at_ms=5 * MINUTE_MS)
    with house(tmp_path, "A1", "A2", clock=clock) as at:
        for minute in range(30):
            clock.pass_by(MINUTE_MS)
            for tank in ("A1", "A2"):
                at.speaks(tank, 26.5, at_ms=NOON + minute * MINUTE_MS)
            at.watch.tick()
            at.round()
        assert at.ear.acknowledged == []
        assert at.watch.waits_for_clock
        clock.set_by(NOON + 30 * MINUTE_MS - clock.now_ms())
        at.round()
        assert not at.watch.waits_for_clock
        assert [at_ms for at_ms, *_ in at.kept()] == [
            NOON + minute * MINUTE_MS for minute in range(30)
        ]
        assert len(at.ear.acknowledged) == 60
        assert at.watch.counts.refused == 0
        at.lives(10, celsius=31.0)
        assert len(at.raised(Kind.ABOVE_WINDOW)) == 2, "and judging goes on"
        assert at.raised(*SILENCE) == []
    said = [r.getMessage().split()[0] for r in caplog.records]
    assert said.count("clock_waited_for") == 1
    assert said.count("clock_waited_for_no_more") == 1


def test_numbers_without_a_time_get_the_moment_they_truly_arrived(tmp_path: Path) -> None:
    clock = HandClock(at_ms=5 * MINUTE_MS)
    with house(tmp_path, "A1", clock=clock, timed=False) as at:
        for celsius in (26.0, 26.1, 26.2):
            clock.pass_by(MINUTE_MS)
            at.ear.says("house/A1", f"{celsius}".encode())
            at.round()
        clock.set_by(HOUR_MS)  # wrong still, and another wrong
        clock.pass_by(MINUTE_MS)
        at.ear.says("house/A1", b"26.3")
        at.round()
        clock.pass_by(10_000)
        clock.set_by(NOON - clock.now_ms())
        at.round()
        arrived = [NOON - 10_000 - minute * MINUTE_MS for minute in (3, 2, 1, 0)]
        assert [(at_ms, raw) for at_ms, raw, _ in at.kept()] == list(
            zip(arrived, (26.0, 26.1, 26.2, 26.3), strict=True)
        )


def test_a_beat_does_not_wait_with_the_messages(tmp_path: Path) -> None:
    """Or the service manager would start a daemon again that only waits for its clock."""
    with house(tmp_path, "A1", clock=HandClock(at_ms=5 * MINUTE_MS)) as at:
        at.round()
        heart = Heart(HeartbeatSettings(), at.watch)
        beats: list[str] = []
        at.watch.on_beat = beats.append
        heart.beat(at.clock.now_ms())
        at.round()
        assert len(beats) == 1


def started_in_the_past(folder: Path, *, timed: bool, back_ms: int) -> HandClock:
    """A house that lived an hour and lost its power; the clock it wakes up with."""
    with house(folder, "A1", "A2", timed=timed) as at:
        for _ in range(60):
            at.clock.pass_by(MINUTE_MS)
            for tank in ("A1", "A2"):
                if timed:
                    at.speaks(tank, 26.5)
                else:
                    at.ear.says(f"house/{tank}", b"26.5")
            at.round()
        return HandClock(at_ms=at.clock.now_ms() - back_ms)


def test_a_clock_that_woke_before_the_newest_reading_is_waited_for(tmp_path: Path) -> None:
    clock = started_in_the_past(tmp_path, timed=False, back_ms=40 * MINUTE_MS)
    with house(tmp_path, clock=clock) as at:
        before = len(at.kept())
        for _ in range(3):
            clock.pass_by(MINUTE_MS)
            at.ear.says("house/A1", b"26.7")
            at.round()
        assert len(at.kept()) == before
        clock.set_by(DAY_MS)
        at.round()
        after = [at_ms for at_ms, raw, _ in at.kept() if raw == 26.7]
        assert after == [clock.now_ms() - minute * MINUTE_MS for minute in (2, 1, 0)]


def test_a_clock_that_stays_behind_is_waited_for_ten_minutes_and_then_own_times_count(
    tmp_path: Path,
) -> None:
    clock = started_in_the_past(tmp_path, timed=True, back_ms=40 * MINUTE_MS)
    true_ms = clock.now_ms() + 3 * DAY_MS
    with house(tmp_path, clock=clock) as at:
        before = len(at.kept())
        for minute in range(15):
            clock.pass_by(MINUTE_MS)
            at.speaks("A1", 26.7, at_ms=true_ms + minute * MINUTE_MS)
            at.watch.tick()
            at.round()
            assert (len(at.kept()) == before) is (minute < 10), minute
        assert [at_ms for at_ms, raw, _ in at.kept() if raw == 26.7] == [
            true_ms + minute * MINUTE_MS for minute in range(15)
        ]
        assert at.watch.counts.refused == 0
        assert at.raised(*SILENCE) == []


def test_a_clock_set_back_under_way_holds_nothing_up(tmp_path: Path) -> None:
    with house(tmp_path, "A1") as at:
        at.lives(90)
        at.clock.set_by(-HOUR_MS - 7)
        at.lives(1)
        assert not at.watch.waits_for_clock
        assert at.watch.counts.kept == 91


def test_a_notice_to_be_tried_again_does_not_wait_for_a_clock_set_back(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.phone.down = True
        assert at.from_elsewhere(at.watch.test_notices) is None
        at.rounds_until(lambda: at.watch.counts.receipts == 1, "the first attempt has failed")
        at.rounds_until(lambda: not at.sender._in_flight, "it is no longer in flight")
        at.phone.down = False
        at.clock.set_by(-2 * HOUR_MS)
        at.watch.deliver()
        at.round()
        at.watch.deliver()
        at.rounds_until(lambda: len(at.phone.got) == 1, "it is tried at once")


def test_a_clock_set_back_does_not_prolong_the_wait_for_a_backlog(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.round()
        assert at.watch.catching_up, "the link has just come up"
        at.clock.set_by(-2 * HOUR_MS)
        at.idles(1)
        assert not at.watch.catching_up


def test_a_board_that_slept_has_heard_nobody_and_blames_nobody(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        at.lives(30)
        at.clock.set_by(DAY_MS)  # the monotonic clock stands still in sleep
        at.lives(30)
        assert at.raised(*SILENCE) == []


def test_true_silence_is_still_found_to_the_minute(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        at.lives(30)
        last_ms = at.clock.now_ms()
        at.idles(6)
        (raised,) = at.raised(Kind.ROOM_SILENT)
        assert raised.at_ms - last_ms <= 5 * MINUTE_MS


def test_steps_are_told_from_time_that_passed() -> None:
    clock = HandClock()
    sense = ClockSense(monotonic=clock.monotonic)
    assert sense.look(clock.now_ms()) is Step.NONE
    clock.pass_by(3 * HOUR_MS)
    assert sense.look(clock.now_ms()) is Step.NONE
    clock.set_by(20_000)
    assert sense.look(clock.now_ms()) is Step.NONE, "a clock is slewed by seconds all the time"
    clock.set_by(2 * HOUR_MS)
    assert sense.look(clock.now_ms()) is Step.FORWARD
    clock.set_by(-HOUR_MS)
    assert sense.look(clock.now_ms()) is Step.BACK
    assert sense.look(clock.now_ms()) is Step.NONE


@pytest.mark.parametrize(
    ("now", "believed"),
    [
        ("1970-01-01T00:05:00Z", False),
        ("2023-12-31T23:59:59Z", False),
        ("2026-03-02T09:49:00Z", False),  # the newest reading is of ten, and clocks differ a little
        ("2026-03-02T09:51:00Z", True),
        ("2026-03-02T10:00:01Z", True),
    ],
)
def test_a_clock_behind_what_was_kept_is_not_believed(now: str, believed: bool) -> None:
    assert ClockSense(NOON).believable(at_ms_of_iso(now)) is believed
