"""A backlog is waited for, but not for ever."""

from roewatch.room.moment import HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.service.backlog import LONGEST_MS, QUIET_MS, Backlog

NOON = 1_795_000_000_000


def test_readings_on_time_are_no_backlog() -> None:
    backlog = Backlog()
    backlog.saw(NOON - 30 * SECOND_MS, NOON)
    assert not backlog.draining(NOON)


def test_while_old_readings_arrive_the_clock_waits_and_then_goes_on() -> None:
    backlog = Backlog()
    backlog.saw(NOON - 5 * HOUR_MS, NOON)
    assert backlog.draining(NOON + SECOND_MS)
    assert not backlog.draining(NOON + QUIET_MS)


def test_after_the_link_comes_up_the_clock_waits_for_what_the_broker_queued() -> None:
    backlog = Backlog()
    backlog.connected(NOON)
    assert backlog.draining(NOON + SECOND_MS)
    assert not backlog.draining(NOON + QUIET_MS)


def test_a_link_that_comes_and_goes_holds_nothing_up_for_ever() -> None:
    backlog = Backlog()
    for second in range(int(LONGEST_MS / SECOND_MS) + 1):
        backlog.connected(NOON + second * SECOND_MS)
    assert not backlog.draining(NOON + LONGEST_MS)


def test_a_probe_whose_clock_is_always_behind_holds_nothing_up_for_long() -> None:
    backlog = Backlog()
    held = 0
    for minute in range(60):
        now = NOON + minute * MINUTE_MS
        for second in range(0, 60, 5):
            backlog.saw(now + second * SECOND_MS - HOUR_MS, now + second * SECOND_MS)
        held += backlog.draining(now + 59 * SECOND_MS)
    assert held <= LONGEST_MS / MINUTE_MS
