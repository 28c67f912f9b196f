"""A witness: one probe as the judge knows it, what it said last, and whether to believe it.

`fold` runs at ticks and reads only minutes that a later reading has closed, so what it finds does
not depend on how the readings of different probes were interleaved. Calm minutes may wait for it
until something needs a look: they would change nothing.
"""

from math import inf
from typing import Any, ClassVar, Final

from roewatch.judging.limits import QUICK, Limits
from roewatch.judging.median import median_of_three
from roewatch.judging.testimony import BUCKET_MS, Bucket, Closed, Testimony
from roewatch.room.moment import FAR_MS, MINUTE_MS
from roewatch.room.tank import ROOM, Probe

KEPT_BUCKETS: Final = 48  # four hours
KEPT_MINUTES: Final = 30
_BEFORE_DULL: Final = 51


class Witness(Testimony):
    """One probe's state. What is named in `SAVED` is all that must survive a restart."""

    SAVED: ClassVar = (
        "last_at", "last", "last_raw", "step", "flag", "contiguous", "flat_value", "flat_since",
        "longest_ms", "since_ms", "gap_before", "minute", "values", "refused", "jitter", "jitters",
        "pending", "heard_ms", "m1", "m2", "m_last", "f", "f_at", "fives", "five_count",
        "five_refused", "buckets", "bad_run", "bad_since", "bad_value", "side", "out_since",
        "in_since", "flat_reported", "norm", "norm_count", "noisy_since", "calm_since",
        "flat_suspect_ms", "flat_fail_ms", "flat_learn_at", "recent_at", "recent", "flat_ms",
        "dumb_since", "received", "received_five", "last_over_ms", "calm_low", "calm_high",
        "late", "dull", "apart_from", "apart_until", "ahead", "ahead_at", "ahead_ms",
    )  # fmt: skip
    __slots__ = (
        "ahead", "ahead_at", "ahead_ms", "buckets", "calm_since", "dumb_since", "f", "f_at",
        "flat_ms", "folded", "fresh", "guard_high", "guard_low", "heard_ms", "hot", "in_since",
        "index", "keeps_minutes", "last_over_ms", "m1", "m2", "m_last", "news", "noisy_since",
        "norm", "norm_count", "out_since", "received", "received_five", "sick", "side", "spoken_as",
    )  # fmt: skip

    def __init__(self, probe: Probe, limits: Limits, index: int) -> None:
        super().__init__(probe, limits)
        self.index = index  # among the room's
        self.heard_ms = -1
        self.m1 = self.m2 = self.f = 0.0
        self.m_last = -1
        self.f_at = -1
        self.buckets: list[Bucket] = []
        self.side = 0
        self.out_since = -1
        self.in_since = -1
        self.last_over_ms = -1
        self.norm = 0.0
        self.norm_count = 0
        self.noisy_since = self.calm_since = -1
        self.guard_low, self.guard_high = -inf, inf
        self.folded = 0  # how many of its minutes ticks have taken in
        self.flat_ms = 0
        self.dumb_since = -1  # since when every reading was refused
        self.received: list[int] = []  # readings by bucket, the last ones without a hole
        self.received_five = -1
        self.ahead = self.ahead_ms = 0  # own times not believed, lying in the future; how far
        self.ahead_at = -1  # when the last of them came
        self.spoken_as: str | None = None
        self.hot = self.fresh = self.news = self.sick = False
        self.keeps_minutes = probe.tank != ROOM and probe.quantity in QUICK

    # -- every tick ------------------------------------------------------------------------------

    def fold(self, tick_ms: int) -> bool:  # noqa: C901 -- every minute of every probe
        """Take in every minute closed by a reading at or before `tick_ms`.

        True when anything needs a closer look: a five minutes over, a value outside the calm band.
        What has waited since the ticks before was calm, and is no news.
        """
        minutes, first = self.minutes, self.folded
        if first == len(minutes) or minutes[first].at_ms > tick_ms:
            return False
        waited_ms = tick_ms - MINUTE_MS
        awake = news = False
        calm_low, calm_high = self.calm_low, self.calm_high
        now, before, m_last, dumb_since = self.m1, self.m2, self.m_last, self.dumb_since
        older = before
        dumb = False
        end = first
        while end < len(minutes):
            closed = minutes[end]
            if closed.at_ms > tick_ms:
                break
            end += 1
            minute, value = closed.minute, closed.value
            if not closed.heard:
                dumb = self.sick = awake = True
                if dumb_since < 0:
                    dumb_since = minute * MINUTE_MS
            else:
                if minute - m_last > 15:
                    now = before = value
                older, before, now, m_last = before, now, value, minute
                dumb_since = -1
                if closed.at_ms > waited_ms or not calm_low <= value <= calm_high:
                    news = True
                    middle = median_of_three(now, before, older)
                    if not (calm_low <= middle <= calm_high and calm_low <= value <= calm_high):
                        awake = True
                        if not self.guard_low <= middle <= self.guard_high:
                            self.hot = True
            if closed.five is not None:
                self._end_bucket(closed.five)
        self.changed = True
        self.heard_ms, self.flat_ms = minutes[end - 1].at_ms, minutes[end - 1].flat_ms
        self._keep_minutes(end, dumb=dumb)
        self.dumb_since = dumb_since
        if self.heard_ms > waited_ms:
            self.late = 0
        if m_last != self.m_last:
            self.m1, self.m2, self.m_last = now, before, m_last
            self.f = median_of_three(now, before, older)
            self.f_at = (m_last + 1) * MINUTE_MS
        if awake or self.flat_ms >= self.flat_suspect_ms:
            self.news = news
            return True
        return self.fresh

    def _keep_minutes(self, end: int, *, dumb: bool) -> None:
        """Of the minutes taken in, the first `end`, keep the last half hour that heard something.

        dumb: some of them have not.
        """
        minutes = self.minutes
        if dumb:
            heard = [closed for closed in minutes[:end] if closed.heard]
            minutes[:end] = heard
            end = len(heard)
        over = 0 if self.keeps_minutes else end
        if end - over > 2 * KEPT_MINUTES:  # cut seldom: each cut moves the whole list
            over = KEPT_MINUTES
        if over:
            del minutes[:over]
        self.folded = end - over

    def heard_by(self, tick_ms: int) -> int:
        """When a reading at or before `tick_ms` last closed a minute of it."""
        for closed in reversed(self.minutes[self.folded :]):
            if closed.at_ms <= tick_ms:
                return closed.at_ms
        return self.heard_ms

    def next_due(self) -> int:
        """When the first minute that waits and is not calm was closed; FAR_MS: it may rest."""
        if not self.calm_low <= self.m1 <= self.calm_high:
            return 0
        for n in range(self.folded, len(self.minutes)):
            closed = self.minutes[n]
            if not self.calm(closed):
                return closed.at_ms
        return FAR_MS

    # -- the last half hour ----------------------------------------------------------------------

    def back(self, many: int) -> float:
        """The median of the last minute that was heard and taken in (1), of the one before it …"""
        return self.minutes[self.folded - many].value

    def lately(self, most: int) -> list[float]:
        """The medians of the last minutes that were heard and taken in, oldest first."""
        first = max(self.folded - most, 0)
        return [closed.value for closed in self.minutes[first : self.folded]]

    def lately_at(self, most: int) -> list[int]:
        """When those minutes were over."""
        first = max(self.folded - most, 0)
        return [(closed.minute + 1) * MINUTE_MS for closed in self.minutes[first : self.folded]]

    def forget_minutes(self) -> None:
        """It comes from elsewhere: what it said of late says nothing of what it says now."""
        del self.minutes[: self.folded]
        self.folded = 0

    def _end_bucket(self, ended: Bucket) -> None:
        five, readings = ended.end_ms // BUCKET_MS - 1, ended.readings + ended.refused
        received = self.received
        hole = five - self.received_five - 1
        if hole:
            received.extend([0] * min(hole, KEPT_BUCKETS))
        received.append(readings)
        if hole or readings < self.plenty:
            self.complete = False
        self.received_five = five
        if len(received) > 2 * KEPT_BUCKETS:
            del received[:-KEPT_BUCKETS]
        if ended.readings:
            self.buckets.append(ended)
            if len(self.buckets) > 2 * KEPT_BUCKETS:
                del self.buckets[:-KEPT_BUCKETS]
            self.fresh = True

    # -- restart ---------------------------------------------------------------------------------

    def dump(self) -> list[Any]:
        """The state as plain JSON values, in the order of `SAVED`."""
        otherwise = {
            "flat_value": None if self.flat_value == inf else self.flat_value,
            "buckets": [bucket.dump() for bucket in self.buckets],
            "recent": self.lately(self.folded),
            "recent_at": self.lately_at(self.folded),
            "pending": [closed.dump() for closed in self.minutes[self.folded :]],
        }
        row = [otherwise[n] if n in otherwise else getattr(self, n) for n in self.SAVED]
        return [*row, self.liveliness.dump()]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        if len(row) == _BEFORE_DULL:  # kept by a program that knew nothing of the rest
            row = [*row, *(getattr(self, name) for name in self.SAVED[_BEFORE_DULL:]), None]
        *row, lively = row
        if lively is not None:
            self.liveliness.load(lively)
        if len(row) != len(self.SAVED):
            raise ValueError(f"{len(row)} values where a probe's state has {len(self.SAVED)}")
        state = dict(zip(self.SAVED, row, strict=True))
        recent_at, recent = state.pop("recent_at"), state.pop("recent")
        self.minutes = [
            Closed(at_ms, at_ms // MINUTE_MS - 1, value, True, 0, None)
            for at_ms, value in zip(recent_at, recent, strict=True)
        ]
        self.folded = len(self.minutes)
        self.minutes += [Closed.load(closed) for closed in state.pop("pending")]
        if state["flat_value"] is None:
            state["flat_value"] = inf
        for name in ("apart_from", "apart_until"):  # an older program wrote another never
            state[name] = min(state[name], FAR_MS)
        for name, value in state.items():
            setattr(self, name, value)
        self.minute_end_ms = (self.minute + 1) * MINUTE_MS
        self.buckets = [Bucket(*entry) for entry in state["buckets"]]
