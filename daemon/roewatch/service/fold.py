"""The fold: readings, ticks and deeds go in; what must be kept in one transaction comes out.

Everything here is memory. `watch` keeps what comes out and only then acknowledges what went in;
`replay` prints it. After a crash the fold is put back from the store and re-reads what was kept
after its last saved state, which gives the same alarms, because judging folds over event time.
A bug of ours in judging or telling is noted and passed over, and the room gets one alarm about it.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.notice import Notice, Receipt
from roewatch.alarms.telling import Teller
from roewatch.breeding.record import BroodRecord
from roewatch.intake.decode import Refused
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.journal import Amendment, Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.reading import Flagged, Reading
from roewatch.room.tank import ROOM, Room
from roewatch.service.brooding import Brooding, Entailed
from roewatch.service.careful_judge import CarefulJudge
from roewatch.service.derived import Deriver
from roewatch.service.faults import Faults
from roewatch.service.stages import Stages
from roewatch.storage.kept import Kept, together
from roewatch.storage.store import Store

TELLER_KEY = "teller"
SAVE_STATES_EVERY_MS = MINUTE_MS


class Fold:
    """Judge, alarm book and teller as one step. Not for two threads at once.

    faults: where bugs of ours are counted; it outlives the fold. stages: None when nobody may
    move a tank to another stage. derived: works out what no probe measures. broods: those of the
    room. again: makes the same anew, from the store.
    """

    def __init__(  # noqa: PLR0913  # its parts, by name
        self,
        judge: Judge,
        book: AlarmBook,
        teller: Teller,
        *,
        faults: Faults | None = None,
        stages: Stages | None = None,
        derived: Deriver | None = None,
        broods: Brooding | None = None,
        again: "Callable[[], Fold] | None" = None,
    ) -> None:
        self.judge = judge
        self.book = book
        self.teller = teller
        self.faults = faults or Faults()
        self.derived = derived or Deriver(judge.room, settle_ms=judge.limits.settle_ms)
        self.broods = broods or Brooding((), {}, lambda: judge.room)
        self._careful = CarefulJudge(judge, self.derived, self.faults)
        self._stages = stages
        self._again = again
        self._teller_saved = teller.state()
        self._states_saved_ms: int | None = None
        self._ready_ms: int | None = None

    @property
    def room(self) -> Room:
        """The room as it is judged now, every tank in its stage."""
        return self.judge.room

    def again(self) -> "Fold":
        """The same, made anew from the store: what this one knows beyond the store is forgotten."""
        if self._again is None:
            raise RuntimeError("this fold cannot be made again; give it `again`")
        return self._again()

    def put_back(self, store: Store, now_ms: int) -> Kept:
        """Judge again what was kept after the last saved state; returns what that adds.

        Of a probe that was never judged, say one whose old log was imported, only as much is judged
        as the judge remembers: a year of it would hold the start up for minutes. What is kept of
        probes that the settings no longer name is nobody's to judge.
        """
        oldest_ms = now_ms - self.judge.limits.band_keep_hours * HOUR_MS
        never = {probe.id: oldest_ms for probe in self.room.probes}
        later = store.kept_after(never | self.judge.positions())
        readings = [reading for reading in later if reading.probe in never]
        kept = self.take(readings, now_ms)
        self.judge.resume(now_ms)
        return kept

    def take(
        self,
        readings: Iterable[Reading],
        now_ms: int,
        *,
        beside: Mapping[str, str] | None = None,
    ) -> Kept:
        """Judge readings in the order they came, and tell of what they changed.

        beside: states of others, to be kept in the same transaction.
        """
        flagged, revised, changes = self._taken(readings, now_ms)
        return self._kept(changes, now_ms, flagged=flagged, revised=revised, states=beside)

    def note_ahead(self, refused: Iterable[Refused], now_ms: int) -> None:
        """Own times of the future that came with readings taken next: a probe's clock is wrong."""
        self._careful.note_ahead(refused, now_ms)

    def _taken(
        self, readings: Iterable[Reading], now_ms: int
    ) -> tuple[list[Flagged], list[Flagged], list[AlarmChange]]:
        flagged: list[Flagged] = []
        revised: list[Flagged] = []
        changes: list[AlarmChange] = []
        for judged in self._careful.take(readings, now_ms):
            flagged.append(judged.flagged)
            if judged.revised is not None:
                revised.append(judged.revised)
            if judged.findings:
                changes += self._booked(judged.findings, now_ms)
        return flagged, revised, changes

    def tick(self, now_ms: int, *, judged_to_ms: int | None = -1) -> Kept:
        """Let time pass with no reading: silence, reminders, shelves that end.

        judged_to_ms: the judge's own present, `now_ms` if left out; None while the clock is not
        to be believed, and then nobody counts as silent.
        """
        to_ms = now_ms if judged_to_ms == -1 else judged_to_ms
        derived = [] if to_ms is None else self._careful.due(to_ms, now_ms)
        flagged, revised, changes = self._taken(derived, now_ms)
        if to_ms is not None:
            changes += self._booked(self._careful.advance(to_ms, now_ms), now_ms)
            changes += self._brooded(now_ms)
        aged = self.faults.guarded("letting alarms age", lambda: self.book.advance(now_ms), now_ms)
        changes += aged or []
        changes += self._own_faults(now_ms)
        notices = self.faults.guarded("telling", lambda: self.teller.advance(now_ms), now_ms)
        return self._kept(changes, now_ms, flagged=flagged, revised=revised, notices=notices or ())

    @property
    def ready_ms(self) -> int | None:
        """When `tell` has something to tell; None while there is nothing."""
        return self._ready_ms

    def tell(self, now_ms: int) -> Kept | None:
        """What has been gathered long enough and is ready to be told; None when nothing is."""
        if self._ready_ms is None or now_ms < self._ready_ms:
            return None
        self._ready_ms = None
        notices = self.faults.guarded("telling", lambda: self.teller.advance(now_ms), now_ms)
        return self._kept([], now_ms, notices=notices or ())

    def enter(self, entry: JournalEntry, now_ms: int) -> Kept:
        """Take a journal entry of the keeper's. Raises ValueError for what he has to mend."""
        known = [ROOM, *(tank.id for tank in self.room.tanks)]
        if entry.tank not in known:
            raise ValueError(f"no tank {entry.tank!r}; there are: {', '.join(known)}")
        moved = entry.deed is Deed.STAGE and self._stages is not None
        if moved and self._stages is not None:
            self._stages.check(entry)
        findings = self.faults.guarded(
            "taking the journal", lambda: self.judge.enter(entry), now_ms
        )
        changes = self._booked(findings or (), now_ms)
        states: dict[str, str] = {}
        if moved and self._stages is not None:
            states = self._stages.enter(entry)
            changes += self.reconfigure(self._stages.room, now_ms)
        return self._kept(changes, now_ms, journal=[entry], states=states)

    def amend(self, amendment: Amendment, before: JournalEntry, now_ms: int) -> Kept:
        """Take a journal entry back, or put another in its place: `before` explains nothing more.

        Raises ValueError for what the person has to mend.
        """
        entry = amendment.entry
        if entry is not None and (entry.tank, entry.deed) != (before.tank, before.deed):
            raise ValueError(
                "a correction keeps tank and deed; withdraw the record and make another"
            )
        states: dict[str, str] = {}
        stages = self._stages if before.deed is Deed.STAGE else None
        if stages is not None:
            if entry is not None:
                stages.check(entry)
            states = stages.withdraw(before)
            if entry is not None:
                states |= stages.enter(entry)
        judge = partial(self._amended, before, entry)
        changes = self._booked(
            self.faults.guarded("taking the journal", judge, now_ms) or (), now_ms
        )
        if stages is not None:
            changes += self.reconfigure(stages.room, now_ms)
        return self._kept(changes, now_ms, amended=[amendment], states=states)

    def _amended(self, before: JournalEntry, entry: JournalEntry | None) -> list[Finding]:
        if before.tank not in {tank.id for tank in self.room.tanks}:
            return []  # of the whole room, or of a tank that is gone
        findings = self.judge.withdraw(before)
        return findings + (self.judge.enter(entry) if entry is not None else [])

    def record(
        self, entailed: Entailed, numbers: Mapping[JournalEntry, int | None], now_ms: int
    ) -> Kept:
        """Take records of broods, and move their tanks on, in one step.

        numbers: what the store knows the entries by that are to be withdrawn, None for one that
        somebody withdrew by hand.
        """
        steps: list[Kept] = []
        enter = list(entailed.enter)
        for before in entailed.withdraw:
            number = numbers[before]
            if number is None:
                continue
            # a correction is one step: the tank is in no other stage between the two
            instead = next((e for e in enter if e.tank == before.tank), None)
            if instead is not None:
                enter.remove(instead)
            amendment = Amendment(number=number, entry=instead, at_ms=now_ms, by=entailed.by)
            steps.append(self.amend(amendment, before, now_ms))
        steps += [self.enter(entry, now_ms) for entry in enter]
        self.broods.take(entailed.records)
        changes = self._brooded(now_ms)
        return together([*steps, self._kept(changes, now_ms, broods=entailed.records)])

    def _brooded(self, now_ms: int) -> list[AlarmChange]:
        found = self.faults.guarded(
            "looking after broods",
            lambda: self.broods.findings(now_ms, self.book.open()),
            now_ms,
        )
        return self._booked(found or (), now_ms)

    def reconfigure(self, room: Room, now_ms: int) -> list[AlarmChange]:
        """Judge by new windows, tanks and probes from now on."""
        changes = self._booked(self.judge.reconfigure(room), now_ms)
        self.book.reconfigure(room)
        self.teller.reconfigure(room)
        return changes

    def hear(self, receipt: Receipt, next_due_ms: int | None, now_ms: int) -> Kept:
        """Take a receipt: a way that fails is an alarm, and another way or person is told."""
        found = self.faults.guarded("telling", lambda: self.teller.delivery(receipt), now_ms)
        notices = self.faults.guarded("telling", lambda: self.teller.hear(receipt, now_ms), now_ms)
        return self._kept(
            self._booked([found] if found else (), now_ms),
            now_ms,
            notices=notices or (),
            receipts=[(receipt, next_due_ms)],
        )

    def test(self, now_ms: int) -> Kept:
        """A test notice for every contact's every way."""
        return self._kept([], now_ms, notices=self.teller.test(now_ms))

    def test_path(self, now_ms: int) -> Kept:
        """A test alarm that begins and ends in one step; what it caused goes out like any other.

        It is over when it is kept, so it can neither stand in the way of an alarm nor ask again.
        """
        began, ended = (
            Finding(
                tank=ROOM, kind=Kind.TEST, quantity=None, probe=None, at_ms=now_ms,
                since_ms=now_ms, present=present, value=None,
                message="a test asked for by hand went through the whole path",
            )
            for present in (True, False)
        )  # fmt: skip
        changes = self.book.take(began) + self.book.take(ended)
        for number in {change.alarm.number for change in changes}:
            changes += self.book.acknowledge(number, "test", now_ms)
        return self._kept(changes, now_ms)

    def own(self, kind: Kind, message: str, now_ms: int, *, present: bool) -> Kept | None:
        """Raise or end an alarm about the program itself; None when that is as it stands."""
        changes = self._own(kind, message, now_ms, present=present)
        return self._kept(changes, now_ms) if changes else None

    def changed(self, changes: list[AlarmChange], now_ms: int) -> Kept:
        """Alarm changes a person made: acknowledged, shelved."""
        return self._kept(changes, now_ms)

    def states(self, now_ms: int) -> Kept:
        """Everything that must survive, to be kept before this fold is given up for another."""
        self._states_saved_ms = None
        return self._kept([], now_ms)

    # -- bugs of ours -----------------------------------------------------------------------

    def _own_faults(self, now_ms: int) -> list[AlarmChange]:
        if self._stands(Kind.JUDGING_FAILED):
            self.faults.began_with_one(now_ms)
        present = self.faults.standing(now_ms)
        said = f"a fault of this program while {self.faults.last}" if present else "an hour without"
        return self._own(Kind.JUDGING_FAILED, said, now_ms, present=present)

    def _own(self, kind: Kind, message: str, now_ms: int, *, present: bool) -> list[AlarmChange]:
        if self._stands(kind) == present:
            return []
        finding = Finding(
            tank=ROOM, kind=kind, quantity=None, probe=None, at_ms=now_ms, since_ms=now_ms,
            present=present, value=None, message=message,
        )  # fmt: skip
        return self._booked([finding], now_ms)

    def _stands(self, kind: Kind) -> bool:
        return any(
            alarm.kind is kind and alarm.present and alarm.tank == ROOM
            for alarm in self.book.open()
        )

    # -- what is to be kept -----------------------------------------------------------------

    def _booked(self, findings: Iterable[Finding], now_ms: int) -> list[AlarmChange]:
        changes: list[AlarmChange] = []
        for finding in findings:
            take = partial(self.book.take, finding)
            changes += self.faults.guarded("booking alarms", take, now_ms) or []
        return changes

    def _kept(  # noqa: PLR0913  # what one transaction may hold, by name
        self,
        changes: list[AlarmChange],
        now_ms: int,
        *,
        flagged: Sequence[Flagged] = (),
        revised: Sequence[Flagged] = (),
        journal: Sequence[JournalEntry] = (),
        amended: Sequence[Amendment] = (),
        broods: Sequence[BroodRecord] = (),
        notices: Sequence[Notice] = (),
        receipts: Sequence[tuple[Receipt, int | None]] = (),
        states: Mapping[str, str] | None = None,
    ) -> Kept:
        told = list(notices)
        if changes:
            said = self.faults.guarded("telling", lambda: self.teller.take(changes, now_ms), now_ms)
            told += said or ()
        self._ready_ms = self.faults.guarded("telling", lambda: self.teller.next_ms(now_ms), now_ms)
        kept_states = dict(states or {})
        due = (
            self._states_saved_ms is None
            or abs(now_ms - self._states_saved_ms) >= SAVE_STATES_EVERY_MS
        )
        # the judging state an alarm came from is saved with it, or a crash would raise it twice
        if changes or journal or amended or due:
            kept_states |= self.judge.changed_states() | self.derived.changed_states()
            self._states_saved_ms = now_ms
        teller = self.teller.state()
        if teller != self._teller_saved:
            kept_states[TELLER_KEY] = teller
            self._teller_saved = teller
        alarms = {change.alarm.number: change.alarm for change in changes}
        return Kept(
            readings=flagged,
            revised=revised,
            states=kept_states,
            alarms=list(alarms.values()),
            changes=changes,
            notices=told,
            journal=journal,
            amended=amended,
            broods=broods,
            receipts=receipts,
        )
