"""A ramp started on a page: its plans are kept with a record of it, and can be given up."""

from pathlib import Path

from tests.service.by_hand import HandClock, house

from roewatch.breeding.plan import Plan, Step
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.service.deeds import Hands
from roewatch.storage.reader import Records


def test_plans_survive_a_restart_and_are_given_up_with_a_record(tmp_path: Path) -> None:
    clock = HandClock()
    begin = clock.now_ms()
    plans = [
        Plan(
            tank="A1",
            quantity=quantity,
            steps=(Step(at_ms=begin, value=first), Step(at_ms=begin + 5 * DAY_MS, value=last)),
        )
        for quantity, first, last in (
            (Quantity.PH, 6.5, 5.4),
            (Quantity.TEMPERATURE, 25.0, 27.0),
        )
    ]

    def note(text: str) -> JournalEntry:
        return JournalEntry(at_ms=clock.now_ms(), tank="A1", deed=Deed.NOTE, detail=text)

    with house(tmp_path, clock=clock) as at:
        hands = Hands(at.watch)
        assert at.from_elsewhere(lambda: hands.plan(plans, note("ramp started"))) is None
        refused = at.from_elsewhere(
            lambda: hands.plan(plans, JournalEntry(at_ms=begin, tank="Z9", deed=Deed.NOTE))
        )
        assert "no tank 'Z9'" in str(refused)
    clock.pass_by(1000)
    with house(tmp_path, clock=clock) as at:
        records = Records(at.setup.storage.path)
        assert sorted(records.plans("A1"), key=lambda p: p.quantity) == sorted(
            plans, key=lambda p: p.quantity
        )
        hands = Hands(at.watch)
        assert at.from_elsewhere(lambda: hands.give_up(plans, note("plan given up"))) is None
        assert records.plans("A1") == []
        said = [entry.detail for entry in records.journal("A1", 0, 2**60)]
        assert said == ["ramp started", "plan given up"]
        records.close()
