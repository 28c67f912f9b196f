"""The alarm book: what may happen to an alarm, and what may not."""

import json

import pytest
from tests.alarms.boathouse import NOON, TANKS, boathouse, found, leaves_in, over, power_cut

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.alarm_settings import STANDARD
from roewatch.alarms.book import AlarmBook, NotNow, UnknownAlarm
from roewatch.alarms.line import alarm_line
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM

SETTLE_MS = STANDARD.settle_ms


def states(changes: list[AlarmChange]) -> list[tuple[str, State]]:
    return [(change.alarm.tank, change.alarm.state) for change in changes]


def raised(*findings: Finding) -> AlarmBook:
    book = AlarmBook(boathouse())
    for finding in findings or (found(),):
        book.take(finding)
    return book


def test_a_finding_raises_one_alarm_and_the_same_finding_again_only_updates_it() -> None:
    book = AlarmBook(boathouse())
    (first,) = book.take(found(value=23.1))
    assert (first.before, first.alarm.state) == (State.NORMAL, State.UNACKNOWLEDGED)
    (second,) = book.take(found(value=22.8, at_ms=NOON + MINUTE_MS))
    assert second.alarm.number == first.alarm.number
    assert second.alarm.value == 22.8
    assert second.before is second.alarm.state is State.UNACKNOWLEDGED
    assert second.alarm.raised_ms == NOON
    assert book.take(found(value=22.8, at_ms=NOON + 2 * MINUTE_MS)) == []
    assert len(book.open()) == 1


def test_acknowledging_clears_nothing_and_the_end_of_the_condition_closes_it() -> None:
    book = raised()
    (seen,) = book.acknowledge(1, "Keeper", NOON + MINUTE_MS)
    assert seen.alarm.state is State.ACKNOWLEDGED
    assert seen.alarm.present
    assert (seen.alarm.acknowledged_by, seen.alarm.acknowledged_ms) == ("Keeper", NOON + MINUTE_MS)
    (gone,) = book.take(over(at_ms=NOON + HOUR_MS))
    assert gone.alarm.state is State.NORMAL
    assert gone.alarm.returned_ms == NOON + HOUR_MS
    assert book.open() == []


def test_a_condition_that_ends_unseen_stays_listed_until_it_is_seen() -> None:
    book = raised()
    (gone,) = book.take(over(at_ms=NOON + HOUR_MS))
    assert gone.alarm.state is State.RETURNED
    (seen,) = book.acknowledge(1, "Keeper", NOON + 2 * HOUR_MS)
    assert seen.alarm.state is State.NORMAL


def test_a_second_crossing_before_it_was_seen_is_the_same_record_raised_again() -> None:
    book = raised()
    book.take(over(at_ms=NOON + HOUR_MS))
    (again,) = book.take(found(at_ms=NOON + 2 * HOUR_MS))
    assert again.alarm.state is State.UNACKNOWLEDGED
    assert (again.alarm.number, again.alarm.episode) == (1, 2)
    assert again.alarm.raised_ms == NOON + 2 * HOUR_MS


def test_a_new_raise_after_it_was_closed_has_a_new_number_and_the_next_episode() -> None:
    book = raised()
    book.acknowledge(1, "Keeper", NOON)
    book.take(over())
    (again,) = book.take(found(at_ms=NOON + HOUR_MS))
    assert (again.alarm.number, again.alarm.episode) == (2, 2)


def test_want_of_data_returns_nothing_to_normal() -> None:
    book = raised()
    book.take(found(kind=Kind.PROBE_SILENT, probe="A1-t"))
    assert book.advance(NOON + 30 * 24 * HOUR_MS) == []
    assert [alarm.present for alarm in book.open()] == [True, True]


def test_an_end_that_was_never_begun_is_nothing() -> None:
    assert AlarmBook(boathouse()).take(over()) == []


@pytest.mark.parametrize("silence", ["shelve", "out_of_service"])
def test_leaving_a_silenced_state_while_the_condition_holds_raises_again(silence: str) -> None:
    book = raised()
    if silence == "shelve":
        book.shelve(1, NOON + HOUR_MS, "new substrate", "Keeper", NOON)
        assert book.advance(NOON + HOUR_MS - 1) == []
        (back,) = book.advance(NOON + HOUR_MS)
    else:
        book.out_of_service(1, "heater on order", "Keeper", NOON)
        assert book.advance(NOON + 100 * HOUR_MS) == []
        (back,) = book.return_to_service(1, "Keeper", NOON + 100 * HOUR_MS)
    assert back.alarm.state is State.UNACKNOWLEDGED
    assert back.alarm.acknowledged_by == ""


def test_a_shelf_ends_in_normal_when_the_condition_ended_meanwhile() -> None:
    book = raised()
    book.shelve(1, NOON + HOUR_MS, "new substrate", "Keeper", NOON)
    (gone,) = book.take(over(at_ms=NOON + MINUTE_MS))
    assert gone.alarm.state is State.SHELVED
    (back,) = book.advance(NOON + HOUR_MS)
    assert back.alarm.state is State.NORMAL


def test_a_raise_during_a_shelf_makes_no_second_record_and_rings_when_the_shelf_ends() -> None:
    book = raised()
    book.shelve(1, NOON + HOUR_MS, "new substrate", "Keeper", NOON)
    book.take(over(at_ms=NOON + MINUTE_MS))
    (silent,) = book.take(found(at_ms=NOON + 2 * MINUTE_MS))
    assert silent.alarm.state is State.SHELVED
    (back,) = book.unshelve(1, "Keeper", NOON + 3 * MINUTE_MS)
    assert (back.alarm.state, back.alarm.number) == (State.UNACKNOWLEDGED, 1)


@pytest.mark.parametrize(
    ("until_ms", "why"),
    [(NOON, "why"), (NOON - 1, "why"), (NOON + 24 * HOUR_MS + 1, "why"), (NOON + HOUR_MS, "  ")],
)
def test_a_shelf_is_bounded_and_has_a_reason(until_ms: int, why: str) -> None:
    with pytest.raises(NotNow):
        raised().shelve(1, until_ms, why, "Keeper", NOON)


def test_what_cannot_be_done_says_so_in_words_for_the_person() -> None:
    book = raised()
    with pytest.raises(UnknownAlarm, match="no open alarm has number 7"):
        book.acknowledge(7, "Keeper", NOON)
    with pytest.raises(NotNow, match="not shelved"):
        book.unshelve(1, "Keeper", NOON)
    with pytest.raises(NotNow, match="not out of service"):
        book.return_to_service(1, "Keeper", NOON)
    book.shelve(1, NOON + HOUR_MS, "why", "Keeper", NOON)
    with pytest.raises(NotNow, match="is shelved: end that first"):
        book.acknowledge(1, "Keeper", NOON)


def test_acknowledging_twice_changes_nothing_the_second_time() -> None:
    book = raised()
    book.acknowledge(1, "Keeper", NOON)
    assert book.acknowledge(1, "Stand-in", NOON + 1) == []
    assert book.open()[0].acknowledged_by == "Keeper"


def test_an_acknowledged_high_alarm_that_still_holds_asks_again() -> None:
    book = raised()
    book.acknowledge(1, "Keeper", NOON)
    for minutes in range(5, 240, 5):
        assert book.advance(NOON + minutes * MINUTE_MS) == []
    (again,) = book.advance(NOON + 4 * HOUR_MS)
    assert again.before is State.ACKNOWLEDGED
    assert again.alarm.state is State.UNACKNOWLEDGED
    assert again.alarm.episode == 1  # the same raise, asked about again


def test_it_asks_sooner_where_the_water_leaves_its_window_before_that() -> None:
    book = raised(found(forecast=leaves_in(3 * HOUR_MS)))
    book.acknowledge(1, "Keeper", NOON)
    for minutes in range(5, 120, 5):
        assert book.advance(NOON + minutes * MINUTE_MS) == []
    (again,) = book.advance(NOON + 2 * HOUR_MS)
    assert again.alarm.state is State.UNACKNOWLEDGED


def test_what_stands_for_days_is_asked_about_less_and_less() -> None:
    book = raised()
    asked = []
    for minute in range(0, 50 * 60, 5):
        at_ms = NOON + minute * MINUTE_MS
        if book.advance(at_ms):
            asked.append(minute / 60)
        if book.open()[0].state is State.UNACKNOWLEDGED:
            book.acknowledge(1, "Keeper", at_ms)
    assert asked == [4, 12, 36]


@pytest.mark.parametrize("step_ms", [2 * HOUR_MS, -2 * HOUR_MS])
def test_putting_the_clock_right_by_two_hours_asks_nobody_anything(step_ms: int) -> None:
    book = raised()
    book.advance(NOON)
    book.acknowledge(1, "Keeper", NOON)
    assert book.advance(NOON + 5_000) == []
    assert book.advance(NOON + 10_000 + step_ms) == []
    assert book.advance(NOON + 15_000 + step_ms) == []


def test_an_acknowledged_medium_alarm_is_left_to_the_daily_message() -> None:
    book = raised(found(kind=Kind.PROBE_SILENT, probe="A1-t"))
    book.acknowledge(1, "Keeper", NOON)
    assert [c for hour in range(72) for c in book.advance(NOON + hour * HOUR_MS)] == []


def test_what_the_journal_explains_is_an_event_and_asks_nothing() -> None:
    book = AlarmBook(boathouse())
    (event,) = book.take(found(kind=Kind.FALLING_TOO_FAST, explained=True))
    assert event.alarm.priority is Priority.JOURNAL
    assert event.alarm.state is State.ACKNOWLEDGED
    (alarm,) = book.take(found(kind=Kind.FALLING_TOO_FAST, at_ms=NOON + HOUR_MS))
    assert alarm.alarm.priority is Priority.MEDIUM
    assert alarm.alarm.state is State.UNACKNOWLEDGED
    (back,) = book.take(found(kind=Kind.FALLING_TOO_FAST, at_ms=NOON + HOUR_MS, explained=True))
    assert (back.alarm.priority, back.alarm.state) == (Priority.JOURNAL, State.ACKNOWLEDGED)


def test_a_shortening_forecast_rings_again_though_it_was_acknowledged() -> None:
    book = raised(found(kind=Kind.FALLING_TOO_FAST, forecast=leaves_in(6 * HOUR_MS)))
    book.acknowledge(1, "Keeper", NOON)
    assert book.advance(NOON + HOUR_MS // 2) == []
    (urgent,) = book.advance(NOON + 2 * HOUR_MS + HOUR_MS // 2)
    assert urgent.alarm.priority is Priority.HIGH
    assert urgent.alarm.state is State.UNACKNOWLEDGED


def test_urgency_never_falls_within_one_raise() -> None:
    book = raised(found(kind=Kind.FALLING_TOO_FAST, forecast=leaves_in(30 * MINUTE_MS)))
    book.take(found(kind=Kind.FALLING_TOO_FAST, forecast=leaves_in(9 * HOUR_MS)))
    assert book.open()[0].priority is Priority.HIGH


def test_eggs_laid_meanwhile_make_an_open_alarm_more_urgent() -> None:
    book = raised(found(kind=Kind.BELOW_WINDOW))
    assert book.open()[0].priority is Priority.MEDIUM
    book.reconfigure(boathouse({"A1": Stage.EGGS}))
    (urgent,) = book.advance(NOON + MINUTE_MS)
    assert urgent.alarm.priority is Priority.HIGH


def test_the_alarms_of_a_tank_taken_down_are_closed() -> None:
    book = AlarmBook(boathouse(extra=1))
    book.take(found("C1"))
    book.take(found("A1"))
    book.reconfigure(boathouse())
    (gone,) = book.advance(NOON + MINUTE_MS)
    assert (gone.alarm.tank, gone.alarm.state) == ("C1", State.NORMAL)
    assert [alarm.tank for alarm in book.open()] == ["A1"]


class TestHarmDoneOnce:
    """Over eggs an excursion is latched: only a person closes it."""

    def book(self) -> AlarmBook:
        book = AlarmBook(boathouse({"A1": Stage.EGGS}))
        book.take(found(kind=Kind.BELOW_WINDOW))
        return book

    def test_it_stays_after_it_is_over_and_seen_until_it_is_reset(self) -> None:
        book = self.book()
        with pytest.raises(NotNow, match="still holds"):
            book.reset(1, "Keeper", NOON)
        book.acknowledge(1, "Keeper", NOON)
        (gone,) = book.take(over(kind=Kind.BELOW_WINDOW))
        assert (gone.alarm.state, gone.alarm.present) == (State.ACKNOWLEDGED, False)
        assert book.acknowledge(1, "Keeper", NOON) == []
        (done,) = book.reset(1, "Keeper", NOON)
        assert done.alarm.state is State.NORMAL

    def test_unseen_and_over_it_is_acknowledged_first(self) -> None:
        book = self.book()
        book.take(over(kind=Kind.BELOW_WINDOW))
        (seen,) = book.acknowledge(1, "Keeper", NOON)
        assert (seen.alarm.state, seen.alarm.present) == (State.ACKNOWLEDGED, False)

    def test_it_rings_again_when_it_happens_again(self) -> None:
        book = self.book()
        book.acknowledge(1, "Keeper", NOON)
        book.take(over(kind=Kind.BELOW_WINDOW))
        (again,) = book.take(found(kind=Kind.BELOW_WINDOW, at_ms=NOON + HOUR_MS))
        assert (again.alarm.state, again.alarm.episode) == (State.UNACKNOWLEDGED, 2)

    def test_over_adults_nothing_latches(self) -> None:
        book = raised(found(kind=Kind.BELOW_WINDOW))
        with pytest.raises(NotNow, match="not latched"):
            book.reset(1, "Keeper", NOON)


class TestOneCause:
    """A power cut is one alarm, not twelve."""

    def test_a_room_alarm_takes_the_place_of_what_it_brings_about(self) -> None:
        book = raised(found("A1"), found("B2"), found("A3", Kind.HEATER_STUCK_ON))
        changes = book.take(power_cut())
        assert states(changes) == [
            (ROOM, State.UNACKNOWLEDGED),
            ("A1", State.SUPPRESSED),
            ("B2", State.SUPPRESSED),
        ]
        assert changes[1].alarm.suppressed_by == "room/power-cut"

    def test_what_comes_later_of_the_same_cause_never_rings(self) -> None:
        book = raised(power_cut())
        assert states(book.take(found("A1"))) == [("A1", State.SUPPRESSED)]

    def test_a_different_fault_in_the_same_tank_rings(self) -> None:
        book = raised(power_cut())
        (change,) = book.take(found("A1", Kind.HEATER_STUCK_ON))
        assert change.alarm.state is State.UNACKNOWLEDGED

    def test_a_fall_of_another_quantity_is_another_fault(self) -> None:
        book = raised(power_cut())
        (heat,) = book.take(found("A1", Kind.FALLING_TOO_FAST))
        (acid,) = book.take(found("A1", Kind.FALLING_TOO_FAST, quantity=Quantity.PH))
        assert heat.alarm.state is State.SUPPRESSED
        assert acid.alarm.state is State.UNACKNOWLEDGED

    def test_what_rang_before_the_cut_and_ended_within_it_is_still_to_be_seen(self) -> None:
        book = raised(found("A1"), power_cut())
        book.take(over("A1", at_ms=NOON + MINUTE_MS))
        book.take(power_cut(NOON + HOUR_MS, present=False))
        (back,) = book.advance(NOON + HOUR_MS + SETTLE_MS)
        assert (back.alarm.tank, back.alarm.state) == ("A1", State.RETURNED)

    def test_a_window_exit_rings_for_it_says_how_far_the_tank_has_got(self) -> None:
        book = raised(power_cut())
        (change,) = book.take(found("A1", Kind.BELOW_WINDOW))
        assert change.alarm.state is State.UNACKNOWLEDGED

    def test_a_tank_outside_the_cut_rings(self) -> None:
        book = raised(power_cut(NOON, "A1", "A2"))
        (change,) = book.take(found("B1"))
        assert change.alarm.state is State.UNACKNOWLEDGED

    def test_children_that_outlive_the_cut_ring_after_it_has_settled(self) -> None:
        book = raised(power_cut())
        book.take(found("A1"))
        book.take(found("A2"))
        book.take(power_cut(NOON + HOUR_MS, present=False))
        book.take(over("A2", at_ms=NOON + HOUR_MS + 1))
        assert book.advance(NOON + HOUR_MS + SETTLE_MS - 1) == []
        changes = book.advance(NOON + HOUR_MS + SETTLE_MS)
        assert states(changes) == [("A1", State.UNACKNOWLEDGED), ("A2", State.NORMAL)]

    def test_a_cut_that_comes_back_while_it_settles_keeps_them_quiet(self) -> None:
        book = raised(power_cut())
        book.take(found("A1"))
        book.take(power_cut(NOON + HOUR_MS, present=False))
        book.take(power_cut(NOON + HOUR_MS + 1))
        assert book.advance(NOON + HOUR_MS + 50 * MINUTE_MS) == []

    def test_what_a_cut_brings_about_right_after_its_end_waits_as_well(self) -> None:
        book = raised(power_cut())
        book.acknowledge(1, "Keeper", NOON)
        book.take(power_cut(NOON + HOUR_MS, present=False))
        lost = found(ROOM, Kind.ROOM_HEATING_LOST, at_ms=NOON + HOUR_MS + MINUTE_MS)
        assert states(book.take(lost)) == [(ROOM, State.SUPPRESSED)]
        assert book.advance(NOON + 2 * HOUR_MS - 1) == []  # a room warms slowly
        (rung,) = book.advance(NOON + 2 * HOUR_MS)
        assert rung.alarm.state is State.UNACKNOWLEDGED
        (other,) = book.take(found("A1", at_ms=NOON + HOUR_MS + SETTLE_MS + MINUTE_MS))
        # by then the heating alarm speaks for it, and no longer the cut
        assert other.alarm.suppressed_by == "room/room-heating-lost/temperature"

    def test_the_one_wide_swing_back_after_a_cut_is_told_to_nobody(self) -> None:
        book = raised(power_cut())
        back = NOON + HOUR_MS
        book.take(power_cut(back, present=False))
        book.take(found("A1", Kind.CYCLE_TOO_WIDE, at_ms=back + 10 * MINUTE_MS))
        assert book.advance(back + 2 * HOUR_MS) == []
        book.take(over("A1", Kind.CYCLE_TOO_WIDE, at_ms=back + 2 * HOUR_MS))
        gone = [c for c in book.advance(back + 5 * HOUR_MS) if c.alarm.tank == "A1"]
        assert states(gone) == [("A1", State.NORMAL)]

    def test_a_cut_that_comes_back_and_is_taken_out_of_service_speaks_for_nobody(self) -> None:
        # found by the life cycle's state machine: the cut that had just ended still spoke
        book = raised(power_cut())
        book.take(power_cut(NOON + HOUR_MS, present=False))
        book.take(power_cut(NOON + HOUR_MS + 1))
        book.out_of_service(1, "meter faulty", "Keeper", NOON + HOUR_MS + 2)
        (change,) = book.take(found("A1", at_ms=NOON + HOUR_MS + 3))
        assert change.alarm.state is State.UNACKNOWLEDGED

    def test_a_silent_tank_speaks_for_its_probes_and_a_silent_room_for_its_tanks(self) -> None:
        book = AlarmBook(boathouse())
        book.take(found("A1", Kind.PROBE_SILENT, probe="A1-t"))
        book.take(found("A1", Kind.TANK_SILENT, quantity=None))
        book.take(found("A2", Kind.PROBE_SILENT, probe="A2-t"))
        silent = found(ROOM, Kind.ROOM_SILENT, quantity=None, children=TANKS)
        book.take(silent)
        assert [alarm.state for alarm in book.open()] == [State.SUPPRESSED] * 3 + [
            State.UNACKNOWLEDGED
        ]

    def test_a_parent_out_of_service_speaks_for_nobody(self) -> None:
        book = raised(power_cut())
        book.take(found("A1"))
        book.out_of_service(1, "meter faulty", "Keeper", NOON)
        changes = book.advance(NOON + SETTLE_MS)
        assert states(changes) == [("A1", State.UNACKNOWLEDGED)]
        changes = book.return_to_service(1, "Keeper", NOON + SETTLE_MS + MINUTE_MS)
        assert ("A1", State.SUPPRESSED) in states(changes)


def test_a_restart_changes_nothing() -> None:
    book = raised(found("A1"), found("A2"), power_cut(NOON, "A3"))
    book.acknowledge(1, "Keeper", NOON)
    book.shelve(2, NOON + HOUR_MS, "why", "Keeper", NOON)
    again = AlarmBook(boathouse(), book.open(), next_number=3, episodes={})
    assert again.open() == book.open()
    assert again.advance(NOON + MINUTE_MS) == []
    assert states(again.advance(NOON + HOUR_MS)) == [("A2", State.UNACKNOWLEDGED)]
    (new,) = again.take(found("B1", at_ms=NOON + HOUR_MS))
    assert new.alarm.number == 4


def test_a_line_for_scripts_has_the_keys_of_the_contract_and_survives_json() -> None:
    book = AlarmBook(boathouse())
    (change,) = book.take(found(forecast=leaves_in(HOUR_MS)))
    assert json.loads(json.dumps(alarm_line(change))) == {
        "time": "2026-03-02T10:00:00Z",
        "tank": "A1",
        "alarm": "heater-dead",
        "quantity": "temperature",
        "priority": "high",
        "state": "unacknowledged",
        "value": 23.1,
        "message": "23.1 °C and falling 0.6 °C/h",
        "forecast_exit": "2026-03-02T11:00:00Z",
    }
    (silent,) = book.take(found(kind=Kind.TANK_SILENT, quantity=None, value=None))
    assert alarm_line(silent)["quantity"] is None
    assert alarm_line(silent)["forecast_exit"] is None


def test_one_condition_of_one_quantity_is_one_alarm() -> None:
    book = AlarmBook(boathouse())
    book.take(found(kind=Kind.BELOW_WINDOW, quantity=Quantity.TEMPERATURE))
    book.take(found(kind=Kind.BELOW_WINDOW, quantity=Quantity.PH))
    assert len(book.open()) == 2
