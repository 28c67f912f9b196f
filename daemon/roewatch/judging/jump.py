"""A jump: water or probe changed within minutes; by its shape told apart what did it.

Poured water changes evenly for as long as it is poured, and its pH with it; a probe out of the
water runs towards the air, fast at first; swapped probes and buffers are there at once.
"""

from bisect import bisect_right
from itertools import pairwise
from statistics import median
from typing import Any, ClassVar, Final

from roewatch.judging.limits import NAMED_EVERY_MS, Limits
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import Witness
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity

_LOOK: Final = 13  # minutes looked at
_LATELY_MS: Final = (_LOOK + 5) * MINUTE_MS  # within so long they must have been heard
_SELDOM_MS: Final = _LATELY_MS // (_LOOK - 1)
_SINCE_MS: Final = 9 * MINUTE_MS  # from the middle of what was before to when it is noticed
_BUFFERS: Final = (4.0, 7.0, 9.18, 10.0)  # technical buffers a keeper may have; 9.18 is borax


class Jump:
    """One probe's jumps. since_ms: when the one under way was noticed, -1 for none."""

    SAVED: ClassVar = ("since_ms", "before", "sharp", "named", "quiet_until")
    __slots__ = (*SAVED, "least", "limits", "usual_per_h", "witness")

    def __init__(self, witness: Witness, limits: Limits) -> None:
        self.witness, self.limits = witness, limits
        self.usual_per_h = 0.0  # how fast the tank itself can go, °C/h; of pH nothing is known
        warm = witness.quantity is Quantity.TEMPERATURE
        self.least = limits.jump_celsius if warm else limits.jump_ph
        self.since_ms = -1
        self.before = 0.0
        self.sharp = False  # there within one or two minutes
        self.named = False  # what it is has been told, or need not be
        self.quiet_until = -1

    @property
    def open(self) -> bool:
        """A jump is being looked at and has no name yet."""
        return self.since_ms >= 0 and not self.named

    def _threshold(self) -> float:
        noise, least = 5 * self.witness.norm, self.least
        # ten minutes of the heater's own work are no jump
        return (max(least, noise)) + self.usual_per_h * 10 / 60 * 1.3

    def reach(self) -> tuple[float, float] | None:
        """Between which values no jump can have begun for the next five minutes; None if any."""
        buckets = self.witness.buckets
        if len(buckets) < 3:
            return None
        oldest, older, last = buckets[-3:]
        if last.end_ms - oldest.end_ms > 3 * BUCKET_MS:
            return None
        a, b, value = oldest.value, older.value, last.value
        # what was ten minutes ago may have been as far off as the last buckets lie apart
        far = self._threshold() - (max(a, b, value) - min(a, b, value)) - 2 * self.witness.norm
        return (value - far, value + far) if far > 0 else None

    def minute(self, *, away: bool) -> None:
        """One more minute: has a jump begun, or is one over? away: it is known to be elsewhere."""
        witness = self.witness
        at_ms = witness.f_at
        if self.since_ms >= 0 and at_ms - self.since_ms > self.limits.jump_open_ms:
            self.since_ms = -1
            self.named = False
        if self.since_ms >= 0 or at_ms <= self.quiet_until or witness.every_ms > NAMED_EVERY_MS:
            return
        readings = self._looked_at()
        if witness.folded < readings:
            return
        if not self._seldom:
            half, back = self._threshold() / 2, witness.back
            if abs(back(1) - back(11)) < half and abs(back(2) - back(10)) < half:
                return
        lately_ms = at_ms - witness.lately_at(readings)[0]
        if lately_ms > _LATELY_MS + (witness.every_ms if self._seldom else 0):
            return
        recent = self._minutes(_LOOK)
        then = median(recent[:-8])
        now = median(recent[-3:])
        if abs(now - then) < self._threshold() or self._noisy():
            return
        if away and self._seldom and abs(recent[-1] - self.before) < abs(then - self.before) / 2:
            return  # it comes back, which read so seldom is seen no sooner than a jump
        self.since_ms = at_ms
        # read so seldom, the first of those minutes may already be on the way
        self.before = median(witness.lately(readings + 2)[:3]) if self._seldom else then
        self.sharp = self._sharp(then, now)
        self.named = False

    @property
    def _seldom(self) -> bool:
        """Whether its readings lie so far apart that they cannot pass for its minutes."""
        return self.witness.every_ms > _SELDOM_MS

    def _looked_at(self) -> int:
        """How many readings the minutes looked at take."""
        if not self._seldom:
            return _LOOK
        return -(-(_LOOK - 1) * MINUTE_MS // self.witness.every_ms) + 1

    def _minutes(self, many: int) -> list[float]:
        """The last `many` minutes, oldest first; fewer where it was not heard before.

        Of a probe that speaks more seldom, those between two readings lie on a straight line.
        """
        witness = self.witness
        if not self._seldom:
            return witness.lately(many)
        readings = many * MINUTE_MS // witness.every_ms + 2
        values, ends = witness.lately(readings), witness.lately_at(readings)
        if not ends:
            return []
        drawn: list[float] = []
        for back in range(many - 1, -1, -1):
            at_ms = ends[-1] - back * MINUTE_MS
            n = bisect_right(ends, at_ms) - 1
            if n < 0:
                continue
            value = values[n]
            if at_ms > ends[n]:
                share = (at_ms - ends[n]) / (ends[n + 1] - ends[n])
                value += share * (values[n + 1] - value)
            drawn.append(value)
        return drawn

    def _sharp(self, then: float, now: float) -> bool:
        """Whether nearly all of it happened between two minutes."""
        recent = self.witness.lately(9 if not self._seldom else self._looked_at())
        most = max(abs(b - a) for a, b in pairwise(recent))
        return most > 0.7 * abs(now - then)

    def _noisy(self) -> bool:
        """Readings leap to and fro: noise, no jump."""
        recent = self.witness.lately(self._looked_at())
        turns = [
            abs(a - 2 * b + c) for a, b, c in zip(recent, recent[1:], recent[2:], strict=False)
        ]
        floor = 0.08 if self.witness.probe.quantity is Quantity.TEMPERATURE else 0.03
        return median(turns) > 3 * max(self.witness.norm, floor)

    def moved(self) -> float:
        """How far it has gone since before."""
        return median(self._minutes(3)) - self.before

    def great(self) -> bool:
        """Whether it has gone on well beyond what made it noticed."""
        return abs(self.moved()) >= 1.5 * self._threshold()

    def age_ms(self) -> int:
        """How long ago it was noticed."""
        return self.witness.f_at - self.since_ms

    def evenness(self) -> float:
        """How fast the last three minutes went, over the fastest two of the last nine; 1: even.

        The fastest were no slower than the whole on average, though they may lie further back.
        """
        recent = self._minutes(10)
        last = (recent[-1] - recent[-4]) * 2 / 3
        moved = self.moved()
        way = 1 if moved > 0 else -1
        mean = abs(moved) * 2 / ((self.age_ms() + _SINCE_MS) / MINUTE_MS)
        most = max(mean, *(way * (b - a) for a, b in zip(recent, recent[2:], strict=False)))
        return way * last / most if most > 0 else 1.0

    def stirred(self) -> bool:
        """Whether it has moved a little within these minutes: no jump, but more than its noise."""
        recent = self._minutes(_LOOK)
        if len(recent) < _LOOK:
            return False
        moved = abs(median(recent[-3:]) - median(recent[:-8]))
        return moved > max(0.4 * self.least, 2.5 * self.witness.norm)

    def towards_air(self, room_c: float | None) -> bool:
        """Whether a thermometer has run most of the way to the room's air and slows there."""
        if room_c is None or abs(self.before - room_c) < 1.0:
            return False
        recent = self._minutes(4)
        now = median(recent[-3:])
        left = (now - room_c) / (self.before - room_c)
        slow = abs(recent[-1] - recent[-4]) < 0.2 * abs(self.before - room_c)
        return -0.15 < left < 0.3 and slow

    def in_buffer(self) -> float | None:
        """The buffer an electrode stands in, when it was there at once and holds."""
        recent = self._minutes(3)
        for buffer in _BUFFERS:
            if all(abs(value - buffer) < 0.12 for value in recent):
                return buffer
        return None

    def name(self, quiet_ms: int = HOUR_MS // 2) -> None:
        """What it is has been told: look for the next one after a while."""
        self.named = True
        self.quiet_until = self.witness.f_at + quiet_ms

    def forget(self, quiet_ms: int) -> None:
        """The probe comes from elsewhere: what it says now is no jump."""
        self.since_ms = -1
        self.named = False
        self.quiet_until = self.witness.f_at + quiet_ms
        self.witness.forget_minutes()

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [*(getattr(self, name) for name in self.SAVED), self.usual_per_h]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        *saved, self.usual_per_h = row
        for name, value in zip(self.SAVED, saved, strict=True):
            setattr(self, name, value)
