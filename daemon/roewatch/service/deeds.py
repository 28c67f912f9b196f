"""Deeds: what a person does on a page, handed to the watch loop."""

from collections.abc import Sequence

from roewatch.breeding.plan import Plan
from roewatch.room.journal import Amendment, JournalEntry
from roewatch.service.watch import Watch


class Hands:
    """The pages' way to change things. Every refusal is a ValueError with text for the person."""

    def __init__(self, watch: Watch) -> None:
        self._watch = watch

    def acknowledge(self, number: int, by: str) -> None:
        """Somebody has seen alarm `number`."""
        self._watch.change_alarm(lambda book, at_ms: book.acknowledge(number, by, at_ms))

    def shelve(self, number: int, until_ms: int, why: str, by: str) -> None:
        """Silence alarm `number` until then."""
        self._watch.change_alarm(lambda book, at_ms: book.shelve(number, until_ms, why, by, at_ms))

    def unshelve(self, number: int, by: str) -> None:
        """End the silence of alarm `number` now."""
        self._watch.change_alarm(lambda book, at_ms: book.unshelve(number, by, at_ms))

    def out_of_service(self, number: int, why: str, by: str) -> None:
        """Silence alarm `number` until somebody returns it to service."""
        self._watch.change_alarm(lambda book, at_ms: book.out_of_service(number, why, by, at_ms))

    def return_to_service(self, number: int, by: str) -> None:
        """Alarm `number` may ring again."""
        self._watch.change_alarm(lambda book, at_ms: book.return_to_service(number, by, at_ms))

    def reset(self, number: int, by: str) -> None:
        """Somebody has looked at what a latched alarm is about; it is over."""
        self._watch.change_alarm(lambda book, at_ms: book.reset(number, by, at_ms))

    def enter(self, entry: JournalEntry) -> None:
        """Record what was done to a tank."""
        self._watch.enter(entry)

    def amend(self, amendment: Amendment) -> None:
        """Put a record right, or take it back."""
        self._watch.amend(amendment)

    def plan(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        """Follow these plans from now on, and record that."""
        self._watch.enter(entry, plans=plans)

    def give_up(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        """Forget these plans, and record that."""
        self._watch.give_up(plans, entry)
