"""The watch: the loop as other threads see it, and what they may ask of it.

Every errand goes through the loop's inbox. Where an answer is owed, the method returns once it
was done and is on disk, and raises what was refused.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.notice import Notice, Receipt
from roewatch.breeding.plan import Plan
from roewatch.breeding.record import BroodRecord
from roewatch.intake.binding import Binding
from roewatch.intake.link import LinkState
from roewatch.intake.refusals import RefusalLog
from roewatch.judging.judge import Learned
from roewatch.room.journal import Amendment, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.tank import Room
from roewatch.service.clock_sense import EARLIEST_MS
from roewatch.service.faults import Faults
from roewatch.service.fold import Fold
from roewatch.service.loop import PULSE_KEY, Ear, Loop
from roewatch.service.path_test import PathTest
from roewatch.storage.kept import Kept

PATH_TEST_S = 15.0


class Watch(Loop):
    """The loop, and its errands, which may be called from any thread."""

    # -- what others see --------------------------------------------------------------------

    @property
    def room(self) -> Room:
        """The room as it is judged now."""
        return self._fold.room

    def learned(self, tank: str) -> Learned:
        """What is known of a tank's heating, a reading old at most. Raises KeyError."""
        return self._fold.judge.learned(tank)

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
            self._keep(self._fold.take((), self._clock.now_ms(), beside={PULSE_KEY: text}))
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

    def enter(self, entry: JournalEntry, *, plans: Sequence[Plan] = ()) -> None:
        """Keep a journal entry, and plans with it; returns once on disk. Raises ValueError."""

        def errand() -> None:
            kept = self._fold.enter(entry, self._clock.now_ms())
            self._keep(replace(kept, plans=plans))

        self._inbox.ask(errand)

    def give_up(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        """Forget plans, and keep the entry that says so; returns once on disk. Raises ValueError.

        One transaction after the other: a crash between them leaves the entry without the deed,
        and the plan on the page, where it can be given up again.
        """

        def errand() -> None:
            self._keep(self._fold.enter(entry, self._clock.now_ms()))
            for plan in plans:
                self._store.drop_plan(plan)
            self.changed.bump()

        self._inbox.ask(errand)

    def amend(self, amendment: Amendment) -> None:
        """Take a journal entry back, or put it right; returns once that is on disk.

        Raises ValueError.
        """

        def errand() -> None:
            before = self._store.numbered(amendment.number)
            if before is None:
                raise ValueError(f"there is no record {amendment.number}; it may be withdrawn")
            if amendment.entry is not None:
                same = self._store.number_of(amendment.entry)
                if same not in {None, amendment.number}:
                    raise ValueError("another record says exactly that; withdraw one of the two")
            self._keep(self._fold.amend(amendment, before, self._clock.now_ms()))
            self.changed.bump()

        self._inbox.ask(errand)

    def record(self, records: Sequence[BroodRecord]) -> None:
        """Keep records of broods and what they entail; returns once that is on disk.

        Each is kept once, by its id. Raises ValueError for what the person has to mend; then none
        of them is kept.
        """

        def errand() -> None:
            now_ms = self._clock.now_ms()
            entailed = self._fold.broods.entails(records, now_ms)
            numbers = {entry: self._store.number_of(entry) for entry in entailed.withdraw}
            self._keep(self._fold.record(entailed, numbers, now_ms))
            self.changed.bump()

        self._inbox.ask(errand)

    def remember(self, key: str, text: str) -> None:
        """Keep a text under `key`, "" to forget it; returns once that is on disk."""
        self._inbox.ask(lambda: self._keep(Kept(states={key: text})))

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
