"""A witness: one probe as the judge knows it, what it said last, and whether to believe it.

`take` is the path every reading goes, so it does little: calibrate, flag, put the value into the
minute it belongs to. `fold` runs at ticks and reads only minutes that a later reading has closed,
so what it finds does not depend on how the readings of different probes were interleaved.
"""

from math import inf
from typing import Any, NamedTuple

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.quality import AIR, GROSS, SPIKES
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.tank import ROOM, Probe

_GOOD, _UNSEEN, _SUSPECT, _BAD = Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT, Flag.BAD
NOTHING: tuple[Finding, ...] = ()
BUCKET_MIN = 5
BUCKET_MS = BUCKET_MIN * MINUTE_MS
KEPT_BUCKETS = 48  # four hours
KEPT_MINUTES = 30
_QUICK = frozenset({Quantity.TEMPERATURE, Quantity.PH})
_FAR = 1 << 62


class Judged(NamedTuple):
    """A reading's flag, what the judge found on the way, and the flag of the reading before it.

    revised: the spike test can only tell when the next reading is there; None when it changed
    nothing. findings: usually the one shared empty tuple.
    """

    flagged: Flagged
    findings: tuple[Finding, ...]
    revised: Flagged | None


class Bucket(NamedTuple):
    """Five minutes of one probe. end_ms: when they were over; value: median of its minutes.

    readings: those believed in it; refused: readings not believed; jitter: mean size of the second
    difference, 0 when it could not be told.
    """

    end_ms: int
    value: float
    readings: int
    refused: int
    jitter: float


# when it was closed, which minute, its median, how long the line was flat, and the five minutes
# that ended with it: index, median, readings, refused, jitter
Five = tuple[int, float | None, int, int, float]
Minute = tuple[int, int, float | None, int, Five | None]
_new = tuple.__new__  # half the cost of a named tuple's own constructor, and two a reading


def _median(values: list[float]) -> float:
    """As `statistics.median`, at a third of its cost: every reading passes here once or twice."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


class Witness:
    """One probe's state. Attributes named in `SAVED` are all that must survive a restart."""

    SAVED = (
        "last_at", "last", "last_raw", "step", "flag", "contiguous", "flat_value", "flat_since",
        "longest_ms", "since_ms", "gap_before", "minute", "values", "refused", "jitter", "jitters",
        "pending", "heard_ms", "m1", "m2", "m_last", "f", "f_at", "fives", "five_count",
        "five_refused", "buckets", "bad_run", "bad_since", "bad_value", "side", "out_since",
        "in_since", "flat_reported", "norm", "norm_count", "noisy_since", "calm_since",
        "flat_suspect_ms", "flat_fail_ms", "flat_learn_at", "recent_at", "recent", "flat_ms",
        "dumb_since", "received", "received_five", "last_over_ms", "calm_low", "calm_high",
        "late",
    )  # fmt: skip
    __slots__ = (
        *SAVED, "probe", "id", "every_ms", "gap_ms", "fail_low", "fail_high", "suspect_low",
        "suspect_high", "spike_suspect", "spike_bad", "flat_tolerance", "slope", "offset",
        "calibrated_from", "calibrated_until", "limits", "changed", "guard_low", "guard_high",
        "hot", "fresh", "index", "news", "sick", "spoken_as", "keeps_minutes", "minute_end_ms",
        "place", "quantity", "spike_square",
    )  # fmt: skip

    def __init__(self, probe: Probe, limits: Limits, index: int) -> None:
        self.limits = limits
        self.index, self.place = index, 0  # its own, and its tank's among the room's
        self.last_at = -1
        self.last = self.last_raw = 0.0
        self.step = 0.0
        self.flag = int(_GOOD)
        self.contiguous = 0
        self.flat_value = inf
        self.flat_since = 0
        self.longest_ms = 0
        self.since_ms = 0
        self.gap_before = False
        self.minute, self.minute_end_ms = -1, 0
        self.values: list[float] = []
        self.refused = 0
        self.jitter = 0.0
        self.jitters = 0
        self.pending: list[Minute] = []
        self.calm_low, self.calm_high = 1.0, 0.0  # nothing needs a look between these; none yet
        self.heard_ms = -1
        self.m1 = self.m2 = self.f = 0.0
        self.m_last = -1
        self.f_at = -1
        self.fives: list[float] = []
        self.five_count = self.five_refused = 0
        self.buckets: list[Bucket] = []
        self.bad_run = 0
        self.bad_since = 0
        self.bad_value = 0.0
        self.side = 0
        self.out_since = -1
        self.in_since = -1
        self.last_over_ms = -1
        self.late = 0  # readings since a minute was last closed whose time is not after the last
        self.flat_reported = False
        self.norm = 0.0
        self.norm_count = 0
        self.noisy_since = self.calm_since = -1
        self.changed = True
        self.guard_low, self.guard_high = -inf, inf
        self.recent_at: list[int] = []  # the last half hour by minutes, for quick slopes
        self.recent: list[float] = []
        self.flat_ms = 0
        self.dumb_since = -1  # since when every reading was refused
        self.received: list[int] = []  # readings by bucket, the last ones without a hole
        self.received_five = -1
        self.spoken_as: str | None = None
        self.hot = self.fresh = self.news = self.sick = False
        self.settle(probe)

    def settle(self, probe: Probe) -> None:
        """Take over what the settings say of the probe; what was learned stays."""
        limits = self.limits
        self.probe = probe
        self.id = probe.id
        self.quantity = probe.quantity
        self.every_ms = probe.every_ms
        self.gap_ms = limits.gap_missed * probe.every_ms
        air = probe.tank == ROOM and probe.quantity is Quantity.TEMPERATURE
        gross = AIR if air else GROSS[probe.quantity]
        self.fail_low, self.fail_high, self.suspect_low, self.suspect_high = gross
        self.spike_suspect, self.spike_bad = SPIKES.get(probe.quantity, (inf, inf))
        if air:
            self.spike_suspect, self.spike_bad = 2.0, 5.0  # a door opens; air is quick
        self.spike_square = -(self.spike_suspect**2)
        self.flat_tolerance = probe.resolution / 2
        self.keeps_minutes = probe.tank != ROOM and probe.quantity in _QUICK
        self.calibrated_from, self.calibrated_until = 0, -1
        self.slope, self.offset = 1.0, 0.0
        self.flat_suspect_ms = self.flat_fail_ms = _FAR
        self.flat_learn_at = max(self.last_at, 0)

    def _recalibrate(self, at_ms: int) -> None:
        self.slope, self.offset = 1.0, 0.0
        self.calibrated_from, self.calibrated_until = -_FAR, _FAR
        for calibration in self.probe.calibrations:
            if calibration.at_ms > at_ms:
                self.calibrated_until = calibration.at_ms
                break
            self.calibrated_from = calibration.at_ms
            self.slope, self.offset = calibration.slope, calibration.offset

    def _relearn_flat(self, at_ms: int) -> None:
        """How long a line may be flat: longer than the probe's own longest run, or for ever."""
        if self.probe.derived:  # whether its inputs are stuck is for them to say
            self.flat_learn_at = _FAR
            return
        limits = self.limits
        known_at = self.since_ms + limits.flat_learn_ms
        quick = self.probe.quantity is Quantity.TEMPERATURE and self.probe.tank != ROOM
        if at_ms < known_at:
            self.flat_suspect_ms = self.flat_fail_ms = _FAR
            self.flat_learn_at = known_at
            return
        self.flat_learn_at = _FAR
        longest = max(self.longest_ms, self.every_ms)
        if quick:
            self.flat_suspect_ms = max(
                limits.flat_suspect_ms, int(limits.flat_suspect_runs * longest)
            )
            self.flat_fail_ms = max(limits.flat_fail_ms, int(limits.flat_fail_runs * longest))
        else:
            self.flat_fail_ms = max(limits.flat_fail_slow_ms, int(limits.flat_slow_runs * longest))
            self.flat_suspect_ms = self.flat_fail_ms // 2

    # -- every reading ---------------------------------------------------------------------------

    def take(self, reading: Reading, findings: tuple[Finding, ...]) -> Judged:  # noqa: C901, PLR0912, PLR0915
        """Flag one reading and put it into its minute.

        Kept in one piece on purpose: six figures of readings a second pass here, and each call
        saved is a tenth of the cost.
        """
        probe, at, raw = reading
        if not self.calibrated_from <= at < self.calibrated_until:
            self._recalibrate(at)
        value = raw * self.slope + self.offset
        last_at = self.last_at
        if at <= last_at:
            self.late += 1
            if self.late == self.limits.silent_after_missed:
                self.changed = True  # from here on it matters
            return Judged(Flagged(probe, at, raw, value, _UNSEEN), findings, None)
        self.changed = True
        if at >= self.minute_end_ms:
            minute = at // MINUTE_MS
            if self.minute >= 0:
                self._close(at, minute)
            self.minute = minute
            self.minute_end_ms = (minute + 1) * MINUTE_MS
        if not self.fail_low <= value <= self.fail_high:
            return self._refuse(reading, value, findings)
        self.last_at = at
        flag = _GOOD
        revised = None
        if self.contiguous and at - last_at <= self.gap_ms:
            step = value - self.last
            before = self.step
            if self.contiguous > 1:
                self.jitter += abs(step - before)
                self.jitters += 1
                # two steps to and fro, each of them beyond the limit, have at least its square
                if step * before <= self.spike_square:
                    revised = self._spike(last_at, min(abs(step), abs(before)))
            else:
                self.contiguous = 2
                self.gap_before = False
            self.step = step
        else:
            flag = self._after_gap(at, last_at)
        if abs(value - self.flat_value) <= self.flat_tolerance:
            flat_ms = at - self.flat_since
            if flat_ms >= self.flat_suspect_ms:
                flag = _SUSPECT
                if flat_ms >= self.flat_fail_ms:
                    flag = _BAD
                    self.flat_reported = True
        else:
            run_ms = last_at - self.flat_since
            if run_ms > self.longest_ms or at >= self.flat_learn_at:
                self._moved(run_ms, at)
            self.flat_value = value
            self.flat_since = at
        self.last = value
        self.last_raw = raw
        if flag is _GOOD and not self.suspect_low <= value <= self.suspect_high:
            flag = _SUSPECT
        if flag is _BAD:
            self.refused += 1
        else:
            # suspect is folded in: a tank at 17 °C is suspect and may be true; medians decide
            self.values.append(value)
        self.flag = flag
        return _new(Judged, (_new(Flagged, (probe, at, raw, value, flag)), findings, revised))

    def _refuse(self, reading: Reading, value: float, findings: tuple[Finding, ...]) -> Judged:
        probe, at, raw = reading
        self.refused += 1
        if self.bad_run == 0:
            self.bad_since = at
        self.bad_run += 1
        # no JSON number for what is no number
        self.bad_value = raw if -inf < raw < inf else -9999.0
        self.last_at = self.flat_since = at  # what is not believed is no flat line either
        self.contiguous = 0
        self.flag = _BAD
        return Judged(Flagged(probe, at, raw, value, _BAD), findings, None)

    def _spike(self, at: int, size: float) -> Flagged | None:
        """The reading before this one may have stood out against both its neighbours."""
        if not size > self.spike_suspect:
            return None
        flag = _BAD if size > self.spike_bad else _SUSPECT
        if self.flag >= flag:
            return None
        return Flagged(self.id, at, self.last_raw, self.last, flag)

    def _after_gap(self, at: int, last_at: int) -> Flag:
        """The first reading, or the first after a hole: no neighbour to hold it against."""
        if last_at < 0:
            self.since_ms = at
        self.step = 0.0
        self.contiguous = 1
        self.flat_value = inf  # nobody knows what was said meanwhile: a line begins anew
        hole = last_at >= 0 and at - last_at > self.gap_ms
        # a probe that only ever speaks after holes is slow, not suspect
        flag = _SUSPECT if hole and not self.gap_before else _UNSEEN
        self.gap_before = hole
        return flag

    def _moved(self, run_ms: int, at: int) -> None:
        if self.flat_value != inf and not self.flat_reported:
            self.longest_ms = max(self.longest_ms, run_ms)
        self.flat_reported = False
        self._relearn_flat(at)

    def _close(self, at: int, next_minute: int) -> None:
        """A reading of `next_minute` has come: the minute before is complete, perhaps the five."""
        values = self.values
        value = None
        if values:
            value = values[0] if len(values) == 1 else _median(values)
            self.bad_run = 0
            self.fives.append(value)
            self.five_count += len(values)
            self.values = []
        if self.refused:
            self.five_refused += self.refused
            self.refused = 0
        ended = None
        five = self.minute // BUCKET_MIN
        if next_minute // BUCKET_MIN != five:
            fives = self.fives
            jitter = self.jitter / self.jitters if self.jitters else 0.0
            middle = _median(fives) if fives else None
            ended = (five, middle, self.five_count, self.five_refused, jitter)
            self.fives = []
            self.five_count = self.five_refused = self.jitters = 0
            self.jitter = 0.0
        flat_ms = self.last_at - self.flat_since
        self.pending.append((at, self.minute, value, flat_ms, ended))

    # -- every tick ------------------------------------------------------------------------------

    def fold(self, tick_ms: int) -> bool:  # noqa: C901 -- once a minute for every probe
        """Take in every minute closed by a reading at or before `tick_ms`.

        True when anything needs a closer look: a five minutes over, a value outside the calm band.
        """
        pending = self.pending
        self.changed = True
        awake = False
        while pending and pending[0][0] <= tick_ms:
            self.heard_ms, minute, value, self.flat_ms, ended = pending.pop(0)
            self.late = 0
            if value is None:
                self.sick = awake = True
                if self.dumb_since < 0:
                    self.dumb_since = minute * MINUTE_MS
            else:
                before, older = self.m1, self.m2
                if minute - self.m_last > 15:
                    before = older = value
                self.dumb_since = -1
                # median of three without building a list
                if value > before:
                    middle = before if before > older else min(value, older)
                else:
                    middle = value if value > older else min(before, older)
                self.f = middle
                self.f_at = at_ms = (minute + 1) * MINUTE_MS
                self.m2 = before
                self.m1 = value
                self.m_last = minute
                self.news = True
                if self.keeps_minutes:
                    recent = self.recent
                    self.recent_at.append(at_ms)
                    recent.append(value)
                    if len(recent) > 2 * KEPT_MINUTES:  # cut seldom: each cut moves the whole list
                        del recent[:KEPT_MINUTES], self.recent_at[:KEPT_MINUTES]
                if not (
                    self.calm_low <= middle <= self.calm_high
                    and self.calm_low <= value <= self.calm_high
                ):
                    awake = True
                    if not self.guard_low <= middle <= self.guard_high:
                        self.hot = True
            if ended is not None:
                self._end_bucket(ended)
        if self.flat_ms >= self.flat_suspect_ms:
            awake = True
        if awake:
            return True
        self.news = False  # a calm minute is no news, though the five with it may be over
        return self.fresh

    def _end_bucket(self, ended: Five) -> None:
        five, value, readings, refused, jitter = ended
        received = self.received
        hole = five - self.received_five - 1
        if hole:
            received.extend([0] * min(hole, KEPT_BUCKETS))
        received.append(readings + refused)
        self.received_five = five
        if len(received) > 2 * KEPT_BUCKETS:
            del received[:-KEPT_BUCKETS]
        if value is not None:
            end_ms = (five + 1) * BUCKET_MS
            self.buckets.append(Bucket(end_ms, value, readings, refused, jitter))
            if len(self.buckets) > 2 * KEPT_BUCKETS:
                del self.buckets[:-KEPT_BUCKETS]
            self.fresh = True

    # -- restart ---------------------------------------------------------------------------------

    def dump(self) -> list[Any]:
        """The state as plain JSON values, in the order of `SAVED`."""
        row = [getattr(self, name) for name in self.SAVED]
        place = self.SAVED.index("flat_value")
        row[place] = None if row[place] == inf else row[place]
        return row

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        if len(row) != len(self.SAVED):
            raise ValueError(f"{len(row)} values where a probe's state has {len(self.SAVED)}")
        for name, value in zip(self.SAVED, row, strict=True):
            setattr(self, name, value)
        self.minute_end_ms = (self.minute + 1) * MINUTE_MS
        flat = row[self.SAVED.index("flat_value")]
        self.flat_value = inf if flat is None else float(flat)
        self.pending = [
            (at, minute, value, flat_ms, tuple(ended) if ended else None)
            for at, minute, value, flat_ms, ended in row[self.SAVED.index("pending")]
        ]
        self.buckets = [Bucket(*entry) for entry in row[self.SAVED.index("buckets")]]
