"""The fold: what it hands out to be kept holds together, whatever fails inside it."""

from pathlib import Path

import pytest
from tests.service.by_hand import NOON, house

from roewatch.alarms.alarm import State
from roewatch.judging.keeping import Keeping
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.service.fold import Fold
from roewatch.storage.kept import Kept


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


def test_a_bug_in_the_judging_of_a_tank_is_told_with_its_name_and_costs_no_reading(
    fold: Fold, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(keeping: Keeping, *_: object, **__: object) -> None:
        raise RuntimeError(f"a bug in {keeping.id}")

    monkeypatch.setattr(Keeping, "judge", broken)
    kept = fold.take(readings(*[31.0] * 10), NOON + 10 * MINUTE_MS)
    assert len(kept.readings) == 10
    assert [kind.partition(" at ")[0] for kind in fold.faults.counted] == [
        "judging A1: RuntimeError"
    ]
    assert fold.faults.standing(NOON + 10 * MINUTE_MS)


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


def test_of_an_imported_log_only_what_the_judge_remembers_is_judged_at_the_start(
    tmp_path: Path,
) -> None:
    days = [Reading("a1-temperature", NOON - d * DAY_MS, 26.0) for d in range(365, 0, -1)]
    with house(tmp_path) as at:
        at.store.keep(Kept(readings=[as_kept(reading) for reading in days]))
        put_back = at.watch._fold.put_back(at.store, NOON)
    assert [flagged.at_ms for flagged in put_back.readings] == [NOON - 2 * DAY_MS, NOON - DAY_MS]


def test_what_is_kept_of_a_probe_the_settings_no_longer_name_is_no_fault_of_ours(
    tmp_path: Path,
) -> None:
    with house(tmp_path) as at:
        gone = Reading("z9-temperature", NOON - MINUTE_MS, 26.0)
        at.store.keep(Kept(readings=[as_kept(gone)]))
        assert at.watch._fold.put_back(at.store, NOON).readings == []
        assert not at.watch._fold.faults.counted


def as_kept(reading: Reading) -> Flagged:
    return Flagged(reading.probe, reading.at_ms, reading.raw, reading.raw, Flag.NOT_EVALUATED)
