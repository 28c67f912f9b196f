"""The fold: what it hands out to be kept holds together, whatever fails inside it."""

from pathlib import Path

import pytest
from tests.service.by_hand import NOON, house

from roewatch.alarms.alarm import State
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.service.fold import Fold


def readings(*celsius: float) -> list[Reading]:
    """One a minute, from noon on."""
    return [Reading("a1-temperature", NOON + i * MINUTE_MS, c) for i, c in enumerate(celsius)]


@pytest.fixture
def fold(tmp_path: Path) -> Fold:
    with house(tmp_path) as at:
        return at.watch._fold


def test_an_alarm_comes_with_its_change_its_notice_and_the_state_it_came_from(fold: Fold) -> None:
    kept = fold.take(readings(*[31.0] * 10), NOON + 10 * MINUTE_MS)
    assert [a.kind for a in kept.alarms] == [Kind.ABOVE_WINDOW]
    assert [c.alarm.state for c in kept.changes] == [State.UNACKNOWLEDGED]
    assert "judge/tank/A1" in kept.states
    assert "teller" in kept.states
    told = [*kept.notices, *fold.tick(NOON + 11 * MINUTE_MS).notices]
    assert [n.alarms for n in told] == [(kept.alarms[0].number,)]


def test_a_bug_in_the_book_costs_the_alarm_and_not_the_readings(
    fold: Fold, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr(fold.book, "take", broken)
    kept = fold.take(readings(*[31.0] * 10), NOON + 10 * MINUTE_MS)
    assert len(kept.readings) == 10
    assert kept.alarms == []
    assert fold.faults.standing(NOON + 10 * MINUTE_MS)


def test_a_bug_in_telling_costs_the_notice_and_not_the_alarm(
    fold: Fold, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr(fold.teller, "take", broken)
    kept = fold.take(readings(*[31.0] * 10), NOON + 10 * MINUTE_MS)
    assert [a.kind for a in kept.alarms] == [Kind.ABOVE_WINDOW]
    assert kept.notices == []


def test_faults_of_many_kinds_are_counted_within_a_bound(fold: Fold) -> None:
    for number in range(500):
        fold.faults.note(f"doing {number}", ValueError("x"), NOON)
    assert sum(fold.faults.counted.values()) == 500
    assert len(fold.faults.counted) <= 101


def test_an_alarm_about_the_program_is_raised_once_and_ended_once(fold: Fold) -> None:
    def own(present: bool) -> bool:
        return fold.own(Kind.STORE_NEARLY_FULL, "so much", NOON, present=present) is not None

    assert [own(False), own(True), own(True), own(False), own(False)] == [
        False,
        True,
        False,
        True,
        False,
    ]


def test_a_test_alarm_is_over_when_it_is_kept(fold: Fold) -> None:
    kept = fold.test_path(NOON)
    assert [c.alarm.state for c in kept.changes] == [
        State.UNACKNOWLEDGED,
        State.RETURNED,
        State.NORMAL,
    ]
    assert [a.state for a in kept.alarms] == [State.NORMAL]
    assert fold.book.open() == []
    assert len(kept.notices) == 1
