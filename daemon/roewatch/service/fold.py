"""The fold: readings, ticks and deeds go in; what must be kept in one transaction comes out.

Everything here is memory. `watch` keeps what comes out and only then acknowledges what went in;
`replay` prints it. After a crash the fold is put back from the store and re-reads what was kept
after its last saved state, which gives the same alarms, because judging folds over event time.
"""

from collections.abc import Iterable, Sequence

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.notice import Notice, Receipt
from roewatch.alarms.telling import Teller
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import MINUTE_MS
from roewatch.room.reading import Flagged, Reading
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

TELLER_KEY = "teller"
SAVE_STATES_EVERY_MS = MINUTE_MS


class Fold:
    """Judge, alarm book and teller as one step. Not for two threads at once."""

    def __init__(self, judge: Judge, book: AlarmBook, teller: Teller) -> None:
        self.judge = judge
        self.book = book
        self.teller = teller
        self._teller_saved = teller.state()
        self._states_saved_ms: int | None = None
        self._ready_ms: int | None = None

    def put_back(self, store: Store, now_ms: int) -> Kept:
        """Judge again what was kept after the last saved state; returns what that adds."""
        readings = list(store.kept_after(self.judge.positions()))
        kept = self.take(readings, now_ms)
        self.judge.resume(now_ms)
        return kept

    def take(self, readings: Iterable[Reading], now_ms: int) -> Kept:
        """Judge readings in the order they came, and tell of what they changed."""
        flagged: list[Flagged] = []
        revised: list[Flagged] = []
        changes: list[AlarmChange] = []
        for reading in readings:
            judged = self.judge.take(reading)
            flagged.append(judged.flagged)
            if judged.revised is not None:
                revised.append(judged.revised)
            for finding in judged.findings:
                changes += self.book.take(finding)
        return self._kept(changes, now_ms, flagged=flagged, revised=revised)

    def tick(self, now_ms: int) -> Kept:
        """Let time pass with no reading: silence, reminders, shelves that end."""
        changes = self._booked(self.judge.advance(now_ms))
        changes += self.book.advance(now_ms)
        return self._kept(changes, now_ms, notices=self.teller.advance(now_ms))

    def tell(self, now_ms: int) -> Kept | None:
        """What has been gathered long enough and is ready to be told; None when nothing is."""
        if self._ready_ms is None or now_ms < self._ready_ms:
            return None
        return self._kept([], now_ms, notices=self.teller.advance(now_ms))

    def enter(self, entry: JournalEntry, now_ms: int) -> Kept:
        """Take a journal entry of the keeper's."""
        changes = self._booked(self.judge.enter(entry))
        return self._kept(changes, now_ms, journal=[entry])

    def hear(self, receipt: Receipt, next_due_ms: int | None, now_ms: int) -> Kept:
        """Take a receipt: when a way fails, another way or another person is told."""
        notices = self.teller.hear(receipt, now_ms)
        return self._kept([], now_ms, notices=notices, receipts=[(receipt, next_due_ms)])

    def test(self, now_ms: int) -> Kept:
        """A test notice for every contact's every way."""
        return self._kept([], now_ms, notices=self.teller.test(now_ms))

    def changed(self, changes: list[AlarmChange], now_ms: int) -> Kept:
        """Alarm changes a person made: acknowledged, shelved."""
        return self._kept(changes, now_ms)

    def _booked(self, findings: Iterable[Finding]) -> list[AlarmChange]:
        return [change for finding in findings for change in self.book.take(finding)]

    def _kept(
        self,
        changes: list[AlarmChange],
        now_ms: int,
        *,
        flagged: Sequence[Flagged] = (),
        revised: Sequence[Flagged] = (),
        journal: Sequence[JournalEntry] = (),
        notices: Sequence[Notice] = (),
        receipts: Sequence[tuple[Receipt, int | None]] = (),
    ) -> Kept:
        told = [*notices, *(self.teller.take(changes, now_ms) if changes else ())]
        self._ready_ms = self.teller.next_ms(now_ms)
        states: dict[str, str] = {}
        due = (
            self._states_saved_ms is None or now_ms - self._states_saved_ms >= SAVE_STATES_EVERY_MS
        )
        # the judging state an alarm came from is saved with it, or a crash would raise it twice
        if changes or journal or due:
            states |= self.judge.changed_states()
            self._states_saved_ms = now_ms
        teller = self.teller.state()
        if teller != self._teller_saved:
            states[TELLER_KEY] = teller
            self._teller_saved = teller
        alarms = {change.alarm.number: change.alarm for change in changes}
        return Kept(
            readings=flagged,
            revised=revised,
            states=states,
            alarms=list(alarms.values()),
            changes=changes,
            notices=told,
            journal=journal,
            receipts=receipts,
        )
