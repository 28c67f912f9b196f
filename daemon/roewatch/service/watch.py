"""The watch: the one loop that hears, judges, keeps, acknowledges and hands notices on.

One thread owns the store and the fold. Everybody else (pages, rounds, sender) puts an errand in
its inbox and, where an answer is owed, waits for it. A message is acknowledged to the broker only
after the transaction that holds its reading is on disk.
"""

import json
import logging
import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, wait
from dataclasses import dataclass, field

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.line import alarm_line
from roewatch.alarms.notice import Notice, Receipt
from roewatch.intake.binding import Binding
from roewatch.intake.decode import decode
from roewatch.intake.listener import Listener, Message
from roewatch.intake.refusals import RefusalLog
from roewatch.outbox.sender import Sender
from roewatch.room.journal import JournalEntry
from roewatch.room.reading import Reading
from roewatch.service.backlog import Backlog
from roewatch.service.clock import Clock
from roewatch.service.fold import Fold
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

log = logging.getLogger(__name__)

ERRAND_ANSWER_S = 30
SENDER_STOP_S = 10.0


@dataclass(slots=True)
class Counts:
    """What went through since the start, for pages, metrics and the closing line."""

    messages: int = 0
    readings: int = 0
    kept: int = 0
    refused: int = 0
    alarms_changed: int = 0
    notices: int = 0
    receipts: int = 0


@dataclass(slots=True)
class Changed:
    """A counter that pages wait on: it moves whenever something worth showing was kept."""

    number: int = 0
    condition: threading.Condition = field(default_factory=threading.Condition)

    def bump(self) -> None:
        """Something changed."""
        with self.condition:
            self.number += 1
            self.condition.notify_all()

    def wait(self, last: int, timeout_s: float) -> int:
        """The number once it is no longer `last`, or after `timeout_s`."""
        with self.condition:
            self.condition.wait_for(lambda: self.number != last, timeout_s)
            return self.number


class Watch:
    """The loop. `run` until `stop` is set; the errand methods may be called from any thread."""

    def __init__(
        self,
        *,
        room_id: str,
        bindings: Sequence[Binding],
        fold: Fold,
        store: Store,
        listener: Listener,
        clock: Clock,
        heard: Callable[[AlarmChange], None] = lambda _: None,
    ) -> None:
        self._room_id = room_id
        self._bindings = _by_topic(bindings)
        self._fold = fold
        self._store = store
        self._listener = listener
        self._clock = clock
        self._heard = heard
        self._backlog = Backlog()
        self._connected_ms: int | None = None
        self._over = threading.Event()
        self._inbox: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self.sender: Sender | None = None
        self.refusals = RefusalLog()
        self.counts = Counts()
        self.changed = Changed()

    # -- the loop ---------------------------------------------------------------------------

    def start(self) -> None:
        """Put the fold back from the store and re-judge what was kept after its saved state."""
        self._keep(self._fold.put_back(self._store, self._clock.now_ms()))

    def run(self, stop: threading.Event) -> None:
        """Hear, judge, keep and acknowledge until `stop`; then let the sender finish."""
        while not stop.is_set():
            self._run_errands()
            messages = self._listener.group(first_wait_s=0.05)
            self._note_link()
            if messages:
                self._take(messages)
            ready = self._fold.tell(self._clock.now_ms())
            if ready is not None:
                self._keep(ready)
        self._let_the_sender_finish()

    def _let_the_sender_finish(self) -> None:
        """Attempts under way still bring receipts, and only this thread can keep them."""
        if self.sender is not None:
            ending = threading.Thread(target=self.sender.stop, args=(SENDER_STOP_S,))
            ending.start()
            while ending.is_alive():
                self._run_errands()
                ending.join(0.02)
        self._over.set()
        self._run_errands()

    def _note_link(self) -> None:
        link = self._listener.link
        if link.connected and link.since_ms != self._connected_ms:
            self._connected_ms = link.since_ms
            self._backlog.connected(self._clock.now_ms())

    def _take(self, messages: Sequence[Message]) -> None:
        readings: list[Reading] = []
        for message in messages:
            decoded, refused = decode(
                message.topic,
                message.payload,
                self._bindings.get(message.topic, ()),
                arrival_ms=message.arrival_ms,
                retained=message.retained,
            )
            readings += [Reading(d.probe, d.at_ms, d.raw) for d in decoded]
            for refusal in refused:
                self.refusals.refused(refusal)
            if decoded and not refused:
                self.refusals.accepted(message.topic)
            elif not decoded and not refused:
                self.refusals.old_news()
            self.counts.refused += len(refused)
        self.counts.messages += len(messages)
        self.counts.readings += len(readings)
        now_ms = self._clock.now_ms()
        if readings:
            self._backlog.saw(min(reading.at_ms for reading in readings), now_ms)
        self._keep(self._fold.take(readings, now_ms))
        self._listener.acknowledge(messages)

    def _keep(self, kept: Kept) -> None:
        self.counts.kept += self._store.keep(kept)
        self.counts.alarms_changed += len(kept.changes)
        self.counts.notices += len(kept.notices)
        for change in kept.changes:
            self._publish(change)
            self._heard(change)
        if kept.notices:
            self._deliver()
        if kept.readings or kept.changes or kept.journal or kept.notices:
            self.changed.bump()

    def _publish(self, change: AlarmChange) -> None:
        payload = json.dumps(alarm_line(change), ensure_ascii=False).encode()
        topic = f"roewatch/{self._room_id}/alarm/{change.alarm.tank}"
        self._listener.publish(topic, payload)

    def _deliver(self) -> None:
        if self.sender is not None:
            self.sender.push(self._store.due_notices(self._clock.now_ms()))

    def _run_errands(self) -> None:
        while True:
            try:
                errand = self._inbox.get_nowait()
            except queue.Empty:
                return
            errand()

    # -- errands, from any thread -----------------------------------------------------------

    @property
    def catching_up(self) -> bool:
        """True while old readings drain from the broker's queue."""
        return self._backlog.draining(self._clock.now_ms())

    def tick(self) -> None:
        """Let time pass in the fold."""
        self._inbox.put(self._tick)

    def _tick(self) -> None:
        now_ms = self._clock.now_ms()
        if not self._backlog.draining(now_ms):
            self._keep(self._fold.tick(now_ms))

    def deliver(self) -> None:
        """Hand due notices to the sender."""
        self._inbox.put(self._deliver)

    def on_receipt(self, receipt: Receipt, next_due_ms: int | None) -> None:
        """Keep what became of one attempt to hand a notice over; returns once it is on disk.

        Were it only queued, the notice could be taken for undelivered and go out twice.
        """

        def errand() -> None:
            self._keep(self._fold.hear(receipt, next_due_ms, self._clock.now_ms()))
            self.counts.receipts += 1
            self.changed.bump()

        self._ask(errand)

    def wanted(self, notice: Notice) -> bool:
        """Whether a notice not yet handed over is still worth sending."""
        return self._fold.teller.wants(notice)

    def enter(self, entry: JournalEntry) -> None:
        """Keep a journal entry; returns once it is on disk."""
        self._ask(lambda: self._keep(self._fold.enter(entry, self._clock.now_ms())))

    def change_alarm(self, deed: Callable[[AlarmBook, int], list[AlarmChange]]) -> None:
        """Let a person change an alarm through the book; what it refuses reaches the caller."""

        def errand() -> None:
            now_ms = self._clock.now_ms()
            self._keep(self._fold.changed(deed(self._fold.book, now_ms), now_ms))

        self._ask(errand)

    def test_notices(self) -> list[Notice]:
        """Queue a test notice for every contact's every way; returns them."""
        made: list[Notice] = []

        def errand() -> None:
            kept = self._fold.test(self._clock.now_ms())
            self._keep(kept)
            made.extend(kept.notices)

        self._ask(errand)
        return made

    def _ask(self, errand: Callable[[], None]) -> None:
        answer: Future[None] = Future()

        def answered() -> None:
            try:
                errand()
            except (
                ValueError
            ) as refused:  # the person's to mend; anything else is ours and stops us
                answer.set_exception(refused)
            else:
                answer.set_result(None)

        self._inbox.put(answered)
        for _ in range(ERRAND_ANSWER_S):
            if wait([answer], timeout=1).done:
                answer.result()
                return
            if self._over.is_set():
                break
        raise TimeoutError("the watch loop did not answer")


def _by_topic(bindings: Sequence[Binding]) -> Mapping[str, Sequence[Binding]]:
    topics: dict[str, list[Binding]] = {}
    for binding in bindings:
        topics.setdefault(binding.topic, []).append(binding)
    return topics
