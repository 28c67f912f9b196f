"""A careful judge: readings judged, and what no probe measures worked out, whatever bug they meet.

A bug of ours is noted and worked around here: the reading is kept, without a judgement.
"""

from collections.abc import Iterable, Iterator
from functools import partial

from roewatch.intake.decode import Refused
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge, Judged
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.service.clock_sense import EARLIEST_MS
from roewatch.service.derived import Deriver
from roewatch.service.faults import Faults

_FAILING_TICKS = 60  # a bug at every tick: so many are passed over at one reading, no more


class CarefulJudge:
    """Judge and deriver as one step. faults: where bugs of ours are counted."""

    def __init__(self, judge: Judge, derived: Deriver, faults: Faults) -> None:
        self._judge = judge
        self._derived = derived
        self._faults = faults
        self._now_ms = 0
        judge.on_fault = self._in_one_tank

    def _in_one_tank(self, tank: str, error: Exception) -> None:
        self._faults.note(f"judging {tank}", error, self._now_ms)

    def take(self, readings: Iterable[Reading], now_ms: int) -> Iterator[Judged]:
        """Each reading judged in the order they came, with those that became due between them."""
        self._now_ms = now_ms
        for reading in self._with_derived(readings, now_ms):
            try:
                judged = self._judge.take(reading) if reading[1] >= EARLIEST_MS else unseen(reading)
            except Exception as error:  # noqa: BLE001  # a bug must not cost the reading
                judged = self._taken_again(reading, error, now_ms)
            self._derived.hear(judged.flagged, judged.revised)
            yield judged

    def due(self, to_ms: int, now_ms: int) -> list[Reading]:
        """Derived readings whose moment has come; they are to be taken like any other."""
        due = self._faults.guarded("deriving", lambda: list(self._derived.due(to_ms)), now_ms)
        return due or []

    def advance(self, to_ms: int, now_ms: int) -> list[Finding]:
        """Let the judge's time pass; a tick that fails is passed over, and the next goes on."""
        self._now_ms = now_ms
        for _ in range(_FAILING_TICKS):
            found = self._faults.guarded("judging", lambda: self._judge.advance(to_ms), now_ms)
            if found is not None:
                return found
        return []

    def note_ahead(self, refused: Iterable[Refused], now_ms: int) -> None:
        """Own times of the future that came with readings taken next: a probe's clock is wrong."""
        for refusal in refused:
            if refusal.ahead is not None:
                note = partial(self._judge.note_ahead, *refusal.ahead)
                self._faults.guarded("judging a clock", note, now_ms)

    def _with_derived(self, readings: Iterable[Reading], now_ms: int) -> Iterator[Reading]:
        for reading in readings:
            if reading[1] >= self._derived.wake_ms:
                yield from self.due(reading[1], now_ms)
            yield reading

    def _taken_again(self, reading: Reading, error: Exception, now_ms: int) -> Judged:
        """A bug met this reading, or a tick that came due with it: past the tick, try once more."""
        self._faults.note("judging", error, now_ms)
        found = self.advance(reading.at_ms, now_ms)
        judged = self._faults.guarded("judging", lambda: self._judge.take(reading), now_ms)
        judged = judged or unseen(reading)
        return judged._replace(findings=(*found, *judged.findings)) if found else judged


def unseen(reading: Reading) -> Judged:
    """The reading as it came: nobody has judged it."""
    probe, at_ms, raw = reading
    return Judged(Flagged(probe, at_ms, raw, raw, Flag.NOT_EVALUATED), (), None)
