"""The watch: the one loop that hears, judges, keeps, acknowledges and hands notices on.

One thread owns the store and the fold. Everybody else (pages, rounds, sender) puts an errand in
its inbox and, where an answer is owed, waits for it. A message is acknowledged to the broker only
after the transaction that holds its reading is on disk.

When the store cannot keep, nothing is acknowledged. What was heard is held, the fold is thrown
away, because it is ahead of the disk by then, and a new one is put back from the store before it
is tried again: at once, then with longer and longer waits, for as long as it takes.
"""

import json
import logging
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.line import alarm_line
from roewatch.alarms.notice import Notice, Receipt
from roewatch.intake.binding import Binding
from roewatch.intake.link import LinkState
from roewatch.intake.listener import Message
from roewatch.intake.refusals import RefusalLog
from roewatch.outbox.sender import Sender
from roewatch.room.journal import JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Room
from roewatch.service.backlog import Backlog
from roewatch.service.backoff import Backoff
from roewatch.service.clock import Clock
from roewatch.service.clock_sense import EARLIEST_MS, ClockSense, Step
from roewatch.service.counts import Changed, Counts
from roewatch.service.faults import Faults
from roewatch.service.fold import Fold
from roewatch.service.hearing import Heard, Hearing
from roewatch.service.inbox import Inbox
from roewatch.service.lag import Lag
from roewatch.service.own_topics import OwnTopics
from roewatch.service.path_test import PathTest, PathTests
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
from roewatch.storage.trouble import DamagedStoreError, StoreError

log = logging.getLogger(__name__)

SENDER_STOP_S = 10.0
IDLE_S = 0.05
PATH_TEST_S = 15.0
EARLY_ROUNDS = 3  # one may still be in flight when the clock is set


class Ear(Protocol):
    """What the loop needs of the listener. All but `publish` and `link` are the loop's alone."""

    def group(self, *, first_wait_s: float) -> list[Message]:
        """The next messages, oldest first; waits so long for the first, empty if none came."""

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """These are kept, in the order given."""

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Send, or as soon as there is a link again."""

    @property
    def link(self) -> LinkState:
        """Whether there is a link, and since when."""


class Watch:
    """The loop. `run` until `stop` is set; the errand methods may be called from any thread.

    fold: as put back from the store; one that can be made again (`Fold.again`), because that is
    done whenever memory may be ahead of the disk.
    """

    def __init__(  # noqa: PLR0913  # what it is wired to, by name
        self,
        *,
        room_id: str,
        bindings: Sequence[Binding],
        fold: Fold,
        store: Store,
        listener: Ear,
        clock: Clock,
        heard: Callable[[AlarmChange], None] = lambda _: None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.topics = OwnTopics.of(room_id)
        self.counts = Counts()
        self.changed = Changed()
        self.backoff = Backoff(monotonic=monotonic)
        self.sender: Sender | None = None
        self.on_beat: Callable[[str], None] = lambda _: None
        self.on_trouble: Callable[[], None] = lambda: None
        self.upkeep: Callable[[bool], None] = lambda _: None
        self._fold = fold
        self._store = store
        self._ear = listener
        self._clock = clock
        self._heard = heard
        self._monotonic = monotonic
        self._hearing = Hearing(bindings, self.topics, fold.faults)
        self._backlog = Backlog()
        self._sense = ClockSense(speed=clock.speed, monotonic=monotonic)
        self._lag = Lag(clock.speed, monotonic)
        self._connected_ms: int | None = None
        self._early = 0  # so many times more, notices are tried before they are due
        self._inbox = Inbox()
        self._path_tests = PathTests()
        self._held: deque[Heard] = deque()  # heard, and not acknowledged yet
        self._taking = False
        self._stop = threading.Event()

    # -- the loop ---------------------------------------------------------------------------

    def start(self) -> None:
        """Put the fold back from the store and re-judge what was kept after its saved state."""
        now_ms = self._clock.now_ms()
        self._keep(self._fold.put_back(self._store, now_ms))
        self._sense.saw(max(self._fold.judge.positions().values(), default=0))

    def run(self, stop: threading.Event) -> None:
        """Hear, judge, keep and acknowledge until `stop`; then let the sender finish.

        Raises DamagedStoreError: the file has to be set aside, which only a start can do.
        """
        self._stop = stop
        while not stop.is_set():
            self.round()
        self._let_the_sender_finish()

    def round(self) -> None:
        """Once through everything there is to do. Raises DamagedStoreError only."""
        try:
            if not self.backoff.trouble:
                self._work()
            elif self._is_due():
                self._put_back()
                self._work()
                self._mended()
        except DamagedStoreError:
            raise
        except (StoreError, sqlite3.Error) as error:
            self._store_failed(error)
        except Exception as error:  # noqa: BLE001  # the loop that keeps the service alive
            self._stumbled(error)

    def _work(self) -> None:
        # first of all: a tick by a clock that was just set would find everybody silent
        self._look_at_clock()
        self._inbox.run()
        if not self._held:
            messages = self._ear.group(first_wait_s=IDLE_S)
            self._note_link()
            if messages:
                # again: the machine may have slept while we waited
                self._look_at_clock()
                self._held.append(self._hearing.heard(messages, self._clock.now_ms()))
        idle = not self._held
        if self._held:
            self._taking = True
            self._take(self._held[0])
            self._held.popleft()
            self._taking = False
        ready = self._fold.tell(self._clock.now_ms())
        if ready is not None:
            self._keep(ready)
        self.upkeep(idle)

    def _take(self, heard: Heard) -> None:
        now_ms = self._clock.now_ms()
        readings = heard.readings
        beat = heard.beats[-1].decode("utf-8", "replace") if heard.beats else ""
        if readings:
            self._backlog.saw(min(reading.at_ms for reading in readings), now_ms)
        self._keep(self._fold.take(readings, now_ms, beat=beat))
        for payload in heard.tests:
            self._take_test(payload, now_ms)
        self._ear.acknowledge(heard.messages)
        self._hearing.note(heard)
        self.counts.messages += len(heard.messages)
        self.counts.readings += len(readings)
        self.counts.refused += len(heard.refused)
        if readings:
            newest_ms = max(reading.at_ms for reading in readings)
            self._sense.saw(newest_ms)
            self._lag.saw(now_ms - newest_ms)
        for beaten in heard.beats:
            self.on_beat(beaten.decode("utf-8", "replace"))

    def _take_test(self, payload: bytes, now_ms: int) -> None:
        test = self._path_tests.of(payload)
        if test is None:
            log.info("path_test_of_a_stranger; nothing was sent for it")
            return
        kept = self._fold.test_path(now_ms)
        self._keep(kept, before=lambda: test.arrived(kept.notices))

    def _keep(self, kept: Kept, *, before: Callable[[], None] = lambda: None) -> None:
        """Keep it; once it is on disk, tell everybody. before: done before notices go out."""
        self.counts.kept += self._store.keep(kept)
        self.counts.alarms_changed += len(kept.changes)
        self.counts.notices += len(kept.notices)
        before()
        for change in kept.changes:
            self._publish(change)
            self._heard(change)
        if kept.notices:
            self._deliver()
        if kept.readings or kept.changes or kept.journal or kept.notices:
            self.changed.bump()

    def _publish(self, change: AlarmChange) -> None:
        payload = json.dumps(alarm_line(change), ensure_ascii=False).encode()
        self._ear.publish(f"{self.topics.alarms}/{change.alarm.tank}", payload)

    def _deliver(self) -> None:
        if self.sender is None:
            return
        due_ms = self._clock.now_ms()
        if self._early > 0:
            self._early -= 1
            due_ms += DAY_MS
        self.sender.push(self._store.due_notices(due_ms))

    def _note_link(self) -> None:
        link = self._ear.link
        if link.connected and link.since_ms != self._connected_ms:
            self._connected_ms = link.since_ms
            self._backlog.connected(self._clock.now_ms())

    def _look_at_clock(self) -> None:
        now_ms = self._clock.now_ms()
        step = self._sense.look(now_ms)
        if step is Step.NONE:
            return
        # its bounds are moments of a clock that is no more
        self._backlog = Backlog()
        self._lag = Lag(self._clock.speed, self._monotonic)
        if step is Step.FORWARD:
            self._fold.judge.resume(now_ms)
        # what was to be tried again at a moment of the old clock is tried now
        self._early = EARLY_ROUNDS

    def _let_the_sender_finish(self) -> None:
        """Attempts under way still bring receipts, and only this thread can keep them."""
        if self.sender is not None and not self.backoff.trouble:
            ending = threading.Thread(target=self.sender.stop, args=(SENDER_STOP_S,))
            ending.start()
            while ending.is_alive():
                self._inbox.run()
                ending.join(0.02)
        self._inbox.close()
        if not self.backoff.trouble:
            self._inbox.run()

    # -- trouble ----------------------------------------------------------------------------

    def _is_due(self) -> bool:
        """Whether it is time to try again; meanwhile who asks is told of the trouble."""
        self._inbox.refuse(f"nothing can be kept just now: {self.backoff.trouble}")
        self.on_trouble()
        if not self.backoff.due:
            self._stop.wait(IDLE_S)
            return False
        return True

    def _mended(self) -> None:
        log.info("watch_works_again failures=%d", self.backoff.failures)
        self.backoff.over()
        self._backlog.connected(self._clock.now_ms())

    def _put_back(self) -> None:
        self._fold = self._fold.again()
        self._keep(self._fold.put_back(self._store, self._clock.now_ms()))

    def _store_failed(self, error: Exception) -> None:
        self.counts.store_failures += 1
        first = not self.backoff.trouble
        wait_s = self.backoff.failed(str(error))
        say = log.warning if first else log.debug
        say("store_failed why=%r held=%d again_in_s=%g", str(error), len(self._held), wait_s)

    def _stumbled(self, error: Exception) -> None:
        """A bug of ours got through to the loop: its messages are tried again one by one."""
        now_ms = self._clock.now_ms()
        self._fold.faults.note("watching", error, now_ms)
        self.backoff.failed(f"a fault in this program ({type(error).__name__}); see its log")
        if not self._taking or not self._held:
            return
        self._taking = False
        group = self._held.popleft()
        if len(group.messages) > 1:
            singles = [self._hearing.heard([message], now_ms) for message in group.messages]
            self._held.extendleft(reversed(singles))
            return
        # the one that cannot be taken must not come again for ever
        self._hearing.unkeepable(group.messages[0], error)
        self._ear.acknowledge(group.messages)

    # -- what others see --------------------------------------------------------------------

    @property
    def room(self) -> Room:
        """The room as it is judged now."""
        return self._fold.room

    @property
    def refusals(self) -> RefusalLog:
        """What could not be read."""
        return self._hearing.refusals

    @property
    def catching_up(self) -> bool:
        """True while old readings drain from the broker's queue."""
        return self._backlog.draining(self._clock.now_ms())

    @property
    def link(self) -> LinkState:
        """How the link to the broker stands."""
        return self._ear.link

    @property
    def ear(self) -> Ear:
        """What is listened with; a reload may change it."""
        return self._ear

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Say something on the broker."""
        self._ear.publish(topic, payload, retain=retain)

    def push(self, notice: Notice) -> None:
        """Give the sender something that is not kept: a beat."""
        if self.sender is not None:
            self.sender.push([(notice, 0)])

    # -- errands, from any thread -----------------------------------------------------------

    def tick(self) -> None:
        """Let time pass in the fold."""
        self._inbox.put(self._tick)

    def _tick(self) -> None:
        now_ms = self._clock.now_ms()
        believed = self._sense.believable(now_ms)
        if now_ms >= EARLIEST_MS and not self._backlog.draining(now_ms):
            to_ms = now_ms - self._lag.ms
            self._keep(self._fold.tick(now_ms, judged_to_ms=to_ms if believed else None))

    def deliver(self) -> None:
        """Hand due notices to the sender."""
        self._inbox.put(self._deliver)

    def beat(self, text: str) -> None:
        """Let a beat pass through store and fold when it cannot come by the broker."""

        def errand() -> None:
            self._keep(self._fold.take((), self._clock.now_ms(), beat=text))
            self.on_beat(text)

        self._inbox.put(errand)

    def on_receipt(self, receipt: Receipt, next_due_ms: int | None) -> None:
        """Keep what became of one attempt to hand a notice over; returns once it is on disk.

        Were it only queued, the notice could be taken for undelivered and go out twice; so it
        waits for the end of any trouble.
        """

        def errand() -> None:
            self._keep(self._fold.hear(receipt, next_due_ms, self._clock.now_ms()))
            self.counts.receipts += 1
            self._path_tests.heard(receipt)
            self.changed.bump()

        self._inbox.ask(errand, patient=True)

    def wanted(self, notice: Notice) -> bool:
        """Whether a notice not yet handed over is still worth sending."""
        return self._fold.teller.wants(notice)

    def enter(self, entry: JournalEntry) -> None:
        """Keep a journal entry; returns once it is on disk. Raises ValueError."""
        self._inbox.ask(lambda: self._keep(self._fold.enter(entry, self._clock.now_ms())))

    def change_alarm(self, deed: Callable[[AlarmBook, int], list[AlarmChange]]) -> None:
        """Let a person change an alarm through the book; what it refuses reaches the caller."""

        def errand() -> None:
            now_ms = self._clock.now_ms()
            self._keep(self._fold.changed(deed(self._fold.book, now_ms), now_ms))

        self._inbox.ask(errand)

    def own(self, kind: Kind, message: str, *, present: bool) -> None:
        """Raise or end an alarm about the program itself. For the loop's own thread."""
        kept = self._fold.own(kind, message, self._clock.now_ms(), present=present)
        if kept is not None:
            self._keep(kept)

    def mirrored(self, positions: Mapping[str, int]) -> None:
        """Remember how far the mirror is sure; returns once it is on disk."""
        self._inbox.ask(lambda: self._store.mirrored(positions))

    def test_notices(self) -> list[Notice]:
        """Queue a test notice for every contact's every way; returns them."""
        made: list[Notice] = []

        def errand() -> None:
            kept = self._fold.test(self._clock.now_ms())
            self._keep(kept)
            made.extend(kept.notices)

        self._inbox.ask(errand)
        return made

    def test_path(self, within_s: float = PATH_TEST_S) -> PathTest:
        """Send a synthetic reading the whole way; returns once its notices are kept.

        Raises TimeoutError when it does not come back from the broker and the store within that.
        """
        test = self._path_tests.begin()
        self._ear.publish(self.topics.test, test.payload)
        if not test.wait_arrival(within_s):
            link = self._ear.link
            state = "is up" if link.connected else f"is down ({link.why})"
            raise TimeoutError(
                f"the test reading did not come back within {within_s:g} s; the link {state}; "
                f"may our user read and write {self.topics.test} on the broker?"
            )
        return test

    def rewire(
        self,
        bindings: Sequence[Binding],
        founded: Callable[[Faults], Fold],
        ear: Callable[[Ear], Ear],
    ) -> None:
        """Take over new settings: a new fold, put back from the store, and perhaps a new ear.

        founded: makes the fold; it goes on counting faults in those given.
        ear: given the present one, returns the one to use from now on.
        """

        def errand() -> None:
            self._keep(self._fold.states(self._clock.now_ms()))
            self._fold = founded(self._fold.faults)
            self._keep(self._fold.put_back(self._store, self._clock.now_ms()))
            self._hearing.rebind(bindings)
            self._held.clear()  # never acknowledged: the broker sends it again
            self._ear = ear(self._ear)
            self.changed.bump()

        self._inbox.ask(errand)
