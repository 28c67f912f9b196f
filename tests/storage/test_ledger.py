"""Alarms, notices, receipts, journal and plans: all of a transaction or nothing of it."""

from dataclasses import replace

import pytest
from tests.storage.builders import NOON, alarm, notice, said

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.notice import Outcome, Receipt
from roewatch.breeding.plan import Plan, Step
from roewatch.judging.finding import Forecast
from roewatch.room.journal import Amendment, Deed, JournalEntry
from roewatch.room.kind import Priority
from roewatch.room.quantity import Quantity
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store


def test_an_alarm_comes_back_with_every_field(store: Store, records: Records) -> None:
    full = replace(
        alarm(1), value=24.1, window="25.0-27.0", message="24.1 °C", told=True, children=("A1",),
        forecast=Forecast(None, NOON, None), acknowledged_ms=NOON, acknowledged_by="Keeper",
        shelved_until_ms=NOON + 1, shelved_why="netting", returned_ms=NOON,
    )  # fmt: skip
    store.keep(Kept(alarms=[full]))
    assert records.alarm(1) == full
    assert records.alarm(2) is None


def test_the_newest_form_of_an_alarm_replaces_the_older(store: Store, records: Records) -> None:
    store.keep(Kept(alarms=[alarm(1), alarm(2)]))
    store.keep(Kept(alarms=[alarm(1, state=State.NORMAL)]))
    assert [a.number for a in store.open_alarms()] == [2]
    assert [a.number for a in records.alarms(open_only=True)] == [2]
    assert len(records.alarms()) == 2


def test_alarms_are_found_by_tank_and_by_when_they_were_raised(
    store: Store, records: Records
) -> None:
    store.keep(Kept(alarms=[alarm(1), alarm(2, tank="B1"), alarm(3, raised_ms=NOON + 10)]))
    assert [a.number for a in records.alarms(tank="A1")] == [3, 1]
    assert [a.number for a in records.alarms(from_ms=NOON, to_ms=NOON + 10)] == [2, 1]
    assert [a.number for a in records.alarms(limit=1)] == [3]


def test_numbers_go_on_and_episodes_are_counted_past_a_restart(store: Store) -> None:
    assert store.next_alarm_number() == 1
    store.keep(Kept(alarms=[alarm(1, state=State.NORMAL), alarm(4)]))
    assert store.next_alarm_number() == 5
    assert store.episodes() == {"A1/below-window/temperature": 4}


def test_an_alarms_life_is_kept_in_order_and_each_step_once(store: Store, records: Records) -> None:
    raised = AlarmChange(at_ms=NOON, alarm=alarm(1), before=State.NORMAL)
    ended = AlarmChange(
        at_ms=NOON + 1, alarm=alarm(1, state=State.RETURNED), before=State.UNACKNOWLEDGED
    )
    store.keep(Kept(changes=[raised, ended]))
    store.keep(Kept(changes=[raised]))
    assert records.changes(1) == [raised, ended]


def test_a_state_is_replaced_and_an_empty_one_forgotten(store: Store) -> None:
    store.keep(Kept(states={"judge/A1": "warm", "judge/A2": "cold"}))
    store.keep(Kept(states={"judge/A1": "hot", "judge/A2": ""}))
    assert store.states() == {"judge/A1": "hot"}


def test_due_notices_come_most_urgent_first_and_only_when_due(store: Store) -> None:
    store.keep(
        Kept(
            notices=[
                notice("low", priority=Priority.LOW, due_ms=NOON - 5),
                notice("second", due_ms=NOON),
                notice("first", due_ms=NOON - 1),
                notice("not yet", due_ms=NOON + 1),
            ]
        )
    )
    assert [n.id for n, _ in store.due_notices(NOON)] == ["first", "second", "low"]
    assert [n.id for n, _ in store.due_notices(NOON, limit=1)] == ["first"]


def test_a_notice_is_tried_again_when_told_and_finished_when_taken(store: Store) -> None:
    store.keep(Kept(notices=[notice("one")]))
    later = Receipt(notice="one", at_ms=NOON, outcome=Outcome.TRY_LATER, reason="answered 503")
    store.record(later, NOON + 60_000)
    assert store.due_notices(NOON) == []
    assert store.due_notices(NOON + 60_000) == [(notice("one"), 1)]
    store.record(replace(later, outcome=Outcome.TAKEN, attempt=2), None)
    assert store.due_notices(NOON + 10**9) == []


def test_attempts_are_counted_even_by_a_sender_that_always_says_first(store: Store) -> None:
    store.keep(Kept(notices=[notice("one")]))
    for _ in range(3):
        store.record(Receipt(notice="one", at_ms=NOON, outcome=Outcome.TRY_LATER), NOON)
    assert store.due_notices(NOON) == [(notice("one"), 3)]


def test_a_notice_made_again_after_a_crash_is_not_sent_again(store: Store) -> None:
    store.keep(Kept(notices=[notice("one")]))
    store.record(Receipt(notice="one", at_ms=NOON, outcome=Outcome.TAKEN), None)
    store.keep(Kept(notices=[notice("one")]))
    assert store.due_notices(NOON) == []


def test_what_was_told_about_an_alarm_comes_with_its_last_receipt(
    store: Store, records: Records
) -> None:
    store.keep(Kept(notices=[notice("one", alarms=(1, 2)), notice("two", alarms=(2,))]))
    store.record(Receipt(notice="one", at_ms=NOON, outcome=Outcome.TRY_LATER), NOON)
    last = Receipt(notice="one", at_ms=NOON + 1, outcome=Outcome.TAKEN, attempt=2)
    store.record(last, None)
    assert records.told(2) == [
        (notice("one", alarms=(1, 2)), last),
        (notice("two", alarms=(2,)), None),
    ]


def test_a_receipt_for_an_unknown_notice_is_refused(store: Store) -> None:
    with pytest.raises(ValueError, match="never kept"):
        store.record(Receipt(notice="ghost", at_ms=NOON, outcome=Outcome.TAKEN), None)


def test_when_one_part_cannot_be_kept_nothing_of_it_is(store: Store, records: Records) -> None:
    ghost = Receipt(notice="ghost", at_ms=NOON, outcome=Outcome.TAKEN)
    with pytest.raises(ValueError, match="ghost"):
        store.keep(
            Kept(
                readings=[said(24.0)],
                alarms=[alarm(1)],
                notices=[notice("one")],
                states={"judge": "x"},
                receipts=[(ghost, None)],
            )
        )
    assert set(records.counts().values()) == {0}


def _change(s: int, *, tank: str = "A1", detail: str = "") -> JournalEntry:
    return JournalEntry(
        at_ms=NOON + s * 1000, tank=tank, deed=Deed.WATER_CHANGE, until_ms=None, detail=detail
    )


def test_the_journal_is_read_by_tank_and_span_and_a_repeat_is_one_entry(
    store: Store, records: Records
) -> None:
    store.keep(Kept(journal=[_change(2), _change(1, tank="B1"), _change(2), _change(9)]))
    assert records.journal("A1", NOON, NOON + 9000) == [_change(2)]
    assert records.journal(None, NOON, NOON + 9000) == [_change(1, tank="B1"), _change(2)]


def _amendment(number: int, entry: JournalEntry | None) -> Amendment:
    return Amendment(number=number, entry=entry, at_ms=NOON + 60_000, by="Keeper")


def test_a_journal_entry_can_be_put_right_or_withdrawn_and_the_old_value_is_kept(
    store: Store, records: Records
) -> None:
    store.keep(Kept(journal=[_change(1), _change(2)]))
    (first, _), (second, _) = records.numbered_journal("A1", NOON, NOON + 9000)
    right = _change(3, detail="a third, not a half")
    store.keep(Kept(amended=[_amendment(first, right), _amendment(second, None)]))
    assert records.journal("A1", 0, 2**42) == [right]
    assert [(a.number, a.before, a.withdrawn, a.by) for a in records.amended("A1", 0, 2**42)] == [
        (first, _change(1), False, "Keeper"),
        (second, _change(2), True, "Keeper"),
    ]


def test_the_number_of_a_withdrawn_entry_is_never_given_to_another(
    store: Store, records: Records
) -> None:
    store.keep(Kept(journal=[_change(1), _change(2)]))
    store.keep(Kept(amended=[_amendment(2, None)]))
    store.keep(Kept(journal=[_change(2)]))
    assert [number for number, _ in records.numbered_journal("A1", 0, 2**42)] == [1, 3]


def test_an_amendment_of_nothing_or_into_anothers_words_changes_nothing(
    store: Store, records: Records
) -> None:
    store.keep(Kept(journal=[_change(1), _change(2)]))
    for wrong in (_amendment(9, None), _amendment(1, _change(2))):
        with pytest.raises(ValueError, match="another says the same"):
            store.keep(Kept(journal=[_change(5)], amended=[wrong]))
    assert records.journal("A1", 0, 2**42) == [_change(1), _change(2)]
    assert records.amended("A1", 0, 2**42) == []


def _plan(*values: float) -> Plan:
    steps = tuple(Step(at_ms=NOON + i, value=value) for i, value in enumerate(values))
    return Plan(tank="A1", quantity=Quantity.PH, steps=steps)


def test_a_plan_is_replaced_by_one_with_the_same_start_and_can_be_dropped(
    store: Store, records: Records
) -> None:
    store.keep(Kept(plans=[_plan(6.5, 5.5)]))
    store.keep(Kept(plans=[_plan(6.5, 6.0, 5.5)]))
    assert records.plans("A1") == [_plan(6.5, 6.0, 5.5)]
    assert store.drop_plan(_plan(6.5, 6.0, 5.5))
    assert not store.drop_plan(_plan(6.5, 6.0, 5.5))
    assert records.plans("A1") == []
