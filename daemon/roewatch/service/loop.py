"""The loop: it hears, judges, keeps, acknowledges and hands notices on; `watch` is how to ask it.

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
from collections.abc import Callable, Sequence
from typing import Protocol

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.line import alarm_line
from roewatch.intake.binding import Binding
from roewatch.intake.link import LinkState
from roewatch.intake.listener import Message
from roewatch.outbox.sender import Sender
from roewatch.room.moment import DAY_MS
from roewatch.service.arrivals import Arrivals
from roewatch.service.backlog import Backlog
from roewatch.service.backoff import Backoff
from roewatch.service.clock import Clock
from roewatch.service.clock_sense import ClockSense, Step
from roewatch.service.counts import Changed, Counts
from roewatch.service.fold import Fold
from roewatch.service.hearing import Heard, Hearing
from roewatch.service.inbox import Inbox
from roewatch.service.lag import Lag
from roewatch.service.own_topics import OwnTopics
from roewatch.service.path_test import PathTests
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
from roewatch.storage.trouble import DamagedStoreError, StoreError

log = logging.getLogger(__name__)

SENDER_STOP_S = 10.0
PAUSE_S = 0.05
IDLE_S = 0.5
"""The longest sleep of a loop that nobody wakes: a stop is noticed by then."""
SLOW_S = 0.5
"""So long the loop gathers messages that are few and far between (`MessageQueue.group`).

A reading a second old is as good as new; a transaction for each is not worth its cost. Nothing is
acknowledged before it is on disk, however long it was gathered.
"""
PULSE_KEY = "pulse"
EARLY_ROUNDS = 3  # one may still be in flight when the clock is set


class Ear(Protocol):
    """What the loop needs of the listener. All but `publish` and `link` are the loop's alone."""

    def group(self, *, first_wait_s: float, slow_s: float) -> list[Message]:
        """The next messages, oldest first; waits so long for the first, empty if none came.

        slow_s: gathers so long while they are few.
        """

    def wake(self) -> None:
        """Let `group` return at once."""

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """These are kept, in the order given."""

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Send, or as soon as there is a link again."""

    @property
    def link(self) -> LinkState:
        """Whether there is a link, and since when."""


class Loop:
    """One thread's work, from `start` on. `run` until `stop` is set.

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
        self._arrivals = Arrivals(clock.speed, monotonic)
        self._lag = Lag(clock.speed, monotonic)
        self.waits_for_clock = False
        self._resumes = False  # the clock was waited for, and nothing was heard since
        self._connected_ms: int | None = None
        self._early = 0  # so many times more, notices are tried before they are due
        self._inbox = Inbox(self._wake)
        self._path_tests = PathTests()
        self._held: deque[Heard] = deque()  # heard, and not acknowledged yet
        self._taking = False
        self._stop = threading.Event()

    # -- the loop ---------------------------------------------------------------------------

    def start(self) -> None:
        """Put the fold back from the store and re-judge what was kept after its saved state."""
        now_ms = self._clock.now_ms()
        self._keep(self._fold.put_back(self._store, now_ms))
        self._hearing.put_back(self._store.states())
        self._sense.saw(max(self._fold.judge.positions().values(), default=0))

    def run(self, stop: threading.Event) -> None:
        """Hear, judge, keep and acknowledge until `stop`; then let the sender finish.

        What judging remembers is kept last of all, so that the next start judges nothing again.
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
            self._listen()
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

    def _listen(self) -> None:
        now_ms = self._clock.now_ms()
        waited, self.waits_for_clock = self.waits_for_clock, self._sense.waits(now_ms)
        if self.waits_for_clock:
            # they are not acknowledged, so the broker sends no more than it lets be so
            self._note_link()
            self._stop.wait(PAUSE_S)
            return
        if waited:
            self._backlog.connected(now_ms)
            self._resumes = True
        # a fast clock has no time for this
        messages = self._ear.group(
            first_wait_s=self._wait_s(now_ms), slow_s=SLOW_S / self._clock.speed
        )
        self._note_link()
        if messages:
            # again: the machine may have slept while we waited
            self._look_at_clock()
            self._hear(messages, self._clock.now_ms())

    def _wake(self) -> None:
        self._ear.wake()  # another one after some reloads

    def _wait_s(self, now_ms: int) -> float:
        """How long it may sleep: until something is ready to be told, and never long."""
        longest_s = max(PAUSE_S, IDLE_S / self._clock.speed)
        ready_ms = self._fold.ready_ms
        if ready_ms is None:
            return longest_s
        left_s = (ready_ms - now_ms) / 1000 / self._clock.speed
        return min(longest_s, max(PAUSE_S, left_s))

    def _hear(self, messages: Sequence[Message], now_ms: int) -> None:
        latest_ms = self._sense.latest_ms(now_ms)
        arrived = self._arrivals.put_right(messages, now_ms)
        heard = self._hearing.heard(arrived, now_ms, latest_ms=latest_ms)
        if self._resumes and heard.readings:
            # how long the room was dark, only the first of them can say when the clock cannot
            self._fold.judge.resume(min(reading.at_ms for reading in heard.readings))
            self._resumes = False
        self._held.append(heard)

    def _take(self, heard: Heard) -> None:
        now_ms = self._clock.now_ms()
        readings = heard.readings
        if readings:
            self._backlog.saw(min(reading.at_ms for reading in readings), now_ms)
        beside = self._hearing.states(heard)
        if heard.beats:
            beside[PULSE_KEY] = heard.beats[-1].decode("utf-8", "replace")
        self._fold.note_ahead(heard.refused, now_ms)
        self._keep(self._fold.take(readings, now_ms, beside=beside))
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
        try:
            if self.sender is not None and not self.backoff.trouble:
                ending = threading.Thread(target=self.sender.stop, args=(SENDER_STOP_S,))
                ending.start()
                while ending.is_alive():
                    self._inbox.run()
                    ending.join(0.02)
            if not self.backoff.trouble:  # else memory is ahead of the disk
                self._keep(self._fold.states(self._clock.now_ms()))
        except (StoreError, sqlite3.Error) as error:
            # what could not be kept stays due, and goes or is judged once more after the next start
            log.warning("not_kept_at_the_end why=%r", str(error))
        finally:
            self._inbox.close()
            self._inbox.refuse("the daemon is ending")

    # -- trouble ----------------------------------------------------------------------------

    def _is_due(self) -> bool:
        """Whether it is time to try again; meanwhile who asks is told of the trouble."""
        self._inbox.refuse(f"nothing can be kept just now: {self.backoff.trouble}")
        self.on_trouble()
        if not self.backoff.due:
            self._stop.wait(PAUSE_S)
            return False
        return True

    def _mended(self) -> None:
        log.info("watch_works_again failures=%d", self.backoff.failures)
        self.backoff.over()
        self._backlog.connected(self._clock.now_ms())

    def _put_back(self) -> None:
        self._fold = self._fold.again()
        self._hearing.put_back(self._store.states())
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
            latest_ms = self._sense.latest_ms(now_ms)
            singles = [
                self._hearing.heard([m], now_ms, latest_ms=latest_ms, again=True)
                for m in group.messages
            ]
            self._held.extendleft(reversed(singles))
            return
        # the one that cannot be taken must not come again for ever
        self._hearing.unkeepable(group.messages[0], error)
        self._ear.acknowledge(group.messages)
