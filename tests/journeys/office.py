"""An office: book, teller, store and sender together on an accelerated clock, to real receivers.

It does what the service does, with the same store, in a fraction of the time: six hours pass in
seconds, because between two looks at the clock everything under way is waited for.
"""

import threading
from collections.abc import Mapping, Sequence
from pathlib import Path

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.contact import Contact
from roewatch.alarms.notice import Notice, Outcome, Receipt
from roewatch.alarms.telling import Teller
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.judging.finding import Finding
from roewatch.outbox.channel import Channel
from roewatch.outbox.sender import Sender
from roewatch.room.moment import MINUTE_MS, SECOND_MS
from roewatch.room.tank import Room
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

TELLER = "teller"
BOUND_S = 30.0


class Killed(BaseException):
    """The program ends here, without a goodbye."""


class Office:
    """One daemon's telling part over a store that outlives it. `kill_at`: a step to die at."""

    def __init__(
        self,
        path: Path,
        room: Room,
        contacts: Sequence[Contact],
        channels: Mapping[str, Channel],
        *,
        now_ms: int,
        settings: TellingSettings | None = None,
        kill_at: str = "",
    ) -> None:
        self.now_ms = now_ms
        self.kill_at = kill_at
        self._closed = False
        self.store = Store.open(path)
        self.book = AlarmBook(
            room,
            self.store.open_alarms(),
            next_number=self.store.next_alarm_number(),
            episodes=self.store.episodes(),
        )
        self.teller = Teller(
            room, contacts, state=self.store.states().get(TELLER), settings=settings
        )
        self.notices: list[Notice] = []
        self.receipts: list[Receipt] = []
        self._done = threading.Condition()
        self._waiting: list[tuple[Receipt, int | None]] = []
        self._pushed: set[str] = set()
        self.sender = Sender(
            channels,
            lambda: self.now_ms,
            on_receipt=self._receive,
            wanted=self.teller.wants,
            chance=lambda: 0.5,
        )
        self.keep([], self.teller.advance(now_ms))

    def take(self, *findings: Finding) -> None:
        """Findings of this moment; their alarms and notices are kept in one transaction."""
        changes = [change for finding in findings for change in self.book.take(finding)]
        self.keep(changes, self.teller.take(changes, self.now_ms))

    def acknowledge(self, number: int, by: str) -> None:
        """Somebody has seen it."""
        changes = self.book.acknowledge(number, by, self.now_ms)
        self.keep(changes, self.teller.take(changes, self.now_ms))

    def wait(self, span_ms: int, step_ms: int = 30 * SECOND_MS) -> None:
        """Let time pass; at each step what is due is tried, and its receipts are kept."""
        for _ in range(max(1, span_ms // step_ms)):
            self.now_ms += step_ms
            changes = self.book.advance(self.now_ms)
            notices = self.teller.take(changes, self.now_ms)
            self.keep(changes, [*notices, *self.teller.advance(self.now_ms)])
            self.deliver()

    def deliver(self) -> None:
        """Try what is due once, and wait for the receipts."""
        due = self.store.due_notices(self.now_ms)
        self.die_at("kept, not pushed")
        self._pushed = {notice.id for notice, _ in due}
        self.sender.push(due)
        with self._done:
            arrived = self._done.wait_for(lambda: not self._pushed, BOUND_S)
            assert arrived, f"no receipt for {self._pushed} within {BOUND_S} s"
            receipts, self._waiting = self._waiting, []
        self.die_at("sent, no receipt kept")
        for receipt, next_ms in receipts:
            self.receipts.append(receipt)
            notices = self.teller.hear(receipt, self.now_ms)
            self.keep([], notices, [(receipt, next_ms)])
            self.die_at("receipt kept")

    def keep(
        self,
        changes: Sequence[AlarmChange],
        notices: Sequence[Notice],
        receipts: Sequence[tuple[Receipt, int | None]] = (),
    ) -> None:
        """One transaction with everything that belongs together."""
        if notices:
            self.die_at("made, not kept")
        self.notices += notices
        alarms = {change.alarm.number: change.alarm for change in changes}
        self.store.keep(
            Kept(
                alarms=list(alarms.values()),
                changes=changes,
                notices=notices,
                receipts=receipts,
                states={TELLER: self.teller.state()},
            )
        )

    def die_at(self, step: str) -> None:
        """Die here if this is the step to die at."""
        if self.kill_at == step:
            self.kill_at = ""
            raise Killed(step)

    def close(self) -> None:
        """Put everything away; a second time changes nothing."""
        if self._closed:
            return
        self._closed = True
        self.sender.stop(2.0)
        self.store.close()

    def _receive(self, receipt: Receipt, next_ms: int | None) -> None:
        with self._done:
            self._waiting.append((receipt, next_ms))
            self._pushed.discard(receipt.notice)
            self._done.notify_all()


def outcomes(receipts: Sequence[Receipt]) -> list[Outcome]:
    """What became of each attempt, in order."""
    return [receipt.outcome for receipt in receipts]


def minutes(notices: Sequence[Notice], from_ms: int) -> list[int]:
    """When they were made, in whole minutes from `from_ms`."""
    return [(notice.made_ms - from_ms) // MINUTE_MS for notice in notices]
