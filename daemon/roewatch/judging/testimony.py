"""A testimony: what one probe says, reading by reading, flagged and put into its minute.

Every reading goes this way, so it does little, and what it needs lies together.
"""

from math import inf
from typing import Any, Final, NamedTuple

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.liveliness import Liveliness
from roewatch.judging.median import median_of, median_of_five
from roewatch.judging.quality import AIR, GROSS, SPIKES
from roewatch.room.moment import FAR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.tank import ROOM, Probe

_GOOD: Final = Flag.GOOD
_UNSEEN: Final = Flag.NOT_EVALUATED
_SUSPECT: Final = Flag.SUSPECT
_BAD: Final = Flag.BAD
NOTHING: Final[tuple[Finding, ...]] = ()
BUCKET_MIN: Final = 5
BUCKET_MS: Final = BUCKET_MIN * MINUTE_MS
_BEFORE_ALL: Final = -FAR_MS


class Judged(NamedTuple):
    """A reading's flag, what the judge found on the way, and the flag of the reading before it.

    revised: the spike test can only tell when the next reading is there; None when it changed
    nothing. findings: usually the one shared empty tuple.
    """

    flagged: Flagged
    findings: tuple[Finding, ...]
    revised: Flagged | None


_new: Final = tuple.__new__  # half the cost of a named tuple's own constructor, and two a reading


class Bucket:
    """Five minutes of one probe. end_ms: when they were over; value: median of its minutes.

    readings: those believed in it, without any there is no value; refused: those not believed.
    jitter: mean size of the second difference, 0 when it could not be told.
    """

    __slots__ = ("end_ms", "jitter", "readings", "refused", "value")

    def __init__(
        self, end_ms: int, value: float, readings: int, refused: int, jitter: float
    ) -> None:
        self.end_ms, self.value, self.jitter = end_ms, value, jitter
        self.readings, self.refused = readings, refused

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [self.end_ms, self.value, self.readings, self.refused, self.jitter]


class Closed:
    """A minute that is over. at_ms: when a later reading closed it; value: its median.

    heard: False when it had nothing to be believed, and no value. flat_ms: how long the line was
    flat by then. five: the five minutes that ended with it. Neither it nor a bucket is a tuple, for
    compiled they hold their numbers themselves, and every probe of a room has many.
    """

    __slots__ = ("at_ms", "five", "flat_ms", "heard", "minute", "value")

    def __init__(
        self, at_ms: int, minute: int, value: float, heard: bool, flat_ms: int, five: Bucket | None
    ) -> None:
        self.at_ms, self.minute, self.value, self.heard = at_ms, minute, value, heard
        self.flat_ms, self.five = flat_ms, five

    def dump(self) -> list[Any]:
        """The state as plain JSON values; no value where nothing was heard."""
        value, five = self.value if self.heard else None, None
        if self.five is not None:
            end_ms, *rest = self.five.dump()
            five = [end_ms // BUCKET_MS - 1, *rest]
            five[1] = five[1] if self.five.readings else None
        return [self.at_ms, self.minute, value, self.flat_ms, five]

    @classmethod
    def load(cls, row: list[Any]) -> "Closed":
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        at_ms, minute, value, flat_ms, five = row
        heard = value is not None
        bucket = None
        if five:
            index, median, *rest = five
            bucket = Bucket((index + 1) * BUCKET_MS, 0.0 if median is None else median, *rest)
        return cls(at_ms, minute, value if heard else 0.0, heard, flat_ms, bucket)


class _Touched:
    """What every reading touches, side by side in memory: compiled as told here, else by name.

    In a room of thousands the wait for memory is a good part of the cost of a reading.
    """

    __slots__ = (
        "apart_from", "apart_until", "bad_run", "believed", "calibrated_from", "calibrated_until",
        "calm_high", "calm_low", "changed", "contiguous", "due_ms", "dull", "fail_high", "fail_low",
        "first", "five_a", "five_b", "five_c", "five_count", "five_d", "five_e", "five_heard",
        "flag", "flat_learn_at", "flat_since", "flat_suspect_ms", "flat_tolerance", "flat_value",
        "further", "gap_ms", "jitter", "jitters", "last", "last_at", "last_raw", "late",
        "longest_ms", "minute", "minute_end_ms", "minutes", "offset", "refused", "slope",
        "spike_square", "step", "suspect_high", "suspect_low",
    )  # fmt: skip

    calibrated_from: int
    calibrated_until: int
    slope: float
    offset: float
    last_at: int
    minute_end_ms: int
    fail_low: float
    fail_high: float
    contiguous: int
    gap_ms: int
    last: float
    step: float
    jitter: float
    jitters: int
    spike_square: float
    flat_value: float
    flat_tolerance: float
    flat_since: int
    flat_suspect_ms: int
    flat_learn_at: int
    longest_ms: int
    last_raw: float
    suspect_low: float
    suspect_high: float
    apart_from: int
    apart_until: int
    changed: bool
    dull: bool
    believed: int
    further: list[float]
    first: float
    flag: int
    minute: int
    five_count: int
    bad_run: int
    refused: int
    five_heard: int
    five_a: float
    five_b: float
    five_c: float
    five_d: float
    five_e: float
    minutes: list[Closed]
    due_ms: int
    calm_low: float
    calm_high: float
    late: int


class Testimony(_Touched):
    """One probe's readings up to the minute that still runs."""

    __slots__ = (
        "awaiting", "bad_since", "bad_value", "complete", "every_ms", "five_refused",
        "flat_fail_ms", "flat_reported", "gap_before", "id", "limits", "liveliness", "place",
        "plenty", "probe", "quantity", "since_ms", "spike_bad", "spike_suspect",
    )  # fmt: skip

    def __init__(self, probe: Probe, limits: Limits) -> None:
        self.limits = limits
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
        self.believed = 0  # readings of the minute that runs that are to be believed
        self.first = 0.0  # of those
        self.further = []  # the rest, most often none
        self.refused = 0
        self.jitter = 0.0
        self.jitters = 0
        self.minutes = []  # the last half hour, then those that no tick has taken in
        self.calm_low, self.calm_high = 1.0, 0.0  # nothing needs a look between these; none yet
        self.place = 0  # its tank's among the room's
        self.awaiting = bytearray(1)  # 1 at the places ticks must look at, shared by the room
        self.due_ms = FAR_MS  # from when on they must look at this one
        self.five_count = self.five_refused = 0
        self.five_heard = 0  # minutes of the five that run that heard something; their medians:
        self.five_a = self.five_b = self.five_c = self.five_d = self.five_e = 0.0
        self.bad_run = 0
        self.bad_since = 0
        self.bad_value = 0.0
        self.late = 0  # readings since a minute was last closed whose time is not after the last
        self.flat_reported = False
        self.liveliness = Liveliness(limits)
        self.dull = False  # it moves far less than it used to
        self.apart_from, self.apart_until = FAR_MS, -1  # a neighbour contradicts it between these
        self.changed = True
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
        # with so many in every five minutes it cannot be patchy
        self.plenty = (1 - limits.patchy_share / 2) * BUCKET_MS / probe.every_ms
        self.complete = False  # it had them for as long as patchiness is looked for
        self.calibrated_from, self.calibrated_until = 0, -1
        self.slope, self.offset = 1.0, 0.0
        self.flat_suspect_ms = self.flat_fail_ms = FAR_MS
        self.flat_learn_at = max(self.last_at, 0)

    def _recalibrate(self, at_ms: int) -> None:
        self.slope, self.offset = 1.0, 0.0
        self.calibrated_from, self.calibrated_until = _BEFORE_ALL, FAR_MS
        for calibration in self.probe.calibrations:
            if calibration.at_ms > at_ms:
                self.calibrated_until = calibration.at_ms
                break
            self.calibrated_from = calibration.at_ms
            self.slope, self.offset = calibration.slope, calibration.offset

    def _relearn_flat(self, at_ms: int) -> None:
        """How long a line may be flat: longer than the probe's own longest run, or for ever."""
        if self.probe.derived:  # whether its inputs are stuck is for them to say
            self.flat_learn_at = FAR_MS
            return
        limits = self.limits
        known_at = self.since_ms + limits.flat_learn_ms
        quick = self.probe.quantity is Quantity.TEMPERATURE and self.probe.tank != ROOM
        if at_ms < known_at:
            self.flat_suspect_ms = self.flat_fail_ms = FAR_MS
            self.flat_learn_at = known_at
            return
        self.flat_learn_at = FAR_MS
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
            if self.late == 1:
                self.wake(0)  # they are counted from the tick on that takes in the last minute
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
        if (flag is _GOOD or flag is _UNSEEN) and (
            not self.suspect_low <= value <= self.suspect_high
            or self.dull
            or self.apart_from <= at < self.apart_until
        ):
            flag = _SUSPECT
        if flag is _BAD:
            self.refused += 1
        # suspect is folded in: a tank at 17 °C is suspect and may be true; medians decide
        elif self.believed:
            self.further.append(value)
            self.believed += 1
        else:
            self.believed, self.first = 1, value
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
        self.wake(0)  # the minutes that wait were held against what a flat line was before

    def _close(self, at: int, next_minute: int) -> None:
        """A reading of `next_minute` has come: the minute before is complete, perhaps the five."""
        value, believed = 0.0, self.believed
        if believed:
            value = self.first
            self.believed = 0
            self.five_count += believed
            if believed > 1:
                value = median_of([value, *self.further])
                self.further = []
            self.bad_run = 0
            self._into_five(value)
        if self.refused:
            self.five_refused += self.refused
            self.refused = 0
        ended = None
        five = self.minute // BUCKET_MIN
        if next_minute // BUCKET_MIN != five:
            jitter = self.jitter / self.jitters if self.jitters else 0.0
            middle = 0.0
            if self.five_heard:
                middle = self._middle_of_five()
                self.five_heard = 0
                self.dull = self.liveliness.dull(five * BUCKET_MS, middle)
            end_ms = (five + 1) * BUCKET_MS
            ended = Bucket(end_ms, middle, self.five_count, self.five_refused, jitter)
            self.five_count = self.five_refused = self.jitters = 0
            self.jitter = 0.0
        flat_ms = self.last_at - self.flat_since
        closed = Closed(at, self.minute, value, believed > 0, flat_ms, ended)
        self.minutes.append(closed)
        if self.due_ms == FAR_MS and not self.calm(closed):
            self.wake(at)

    def _into_five(self, value: float) -> None:
        """One more minute of the five that run. They lie in it: a list of them would lie apart."""
        heard = self.five_heard
        self.five_heard = heard + 1
        if heard == 0:
            self.five_a = value
        elif heard == 1:
            self.five_b = value
        elif heard == 2:
            self.five_c = value
        elif heard == 3:
            self.five_d = value
        else:
            self.five_e = value

    def _middle_of_five(self) -> float:
        """The median of the minutes of the five that run; one of them at least."""
        if self.five_heard == BUCKET_MIN:
            return median_of_five(self.five_a, self.five_b, self.five_c, self.five_d, self.five_e)
        return self.five_a if self.five_heard == 1 else median_of(self.fives)

    @property
    def fives(self) -> list[float]:
        """The medians of the minutes of the five that run."""
        all_five = [self.five_a, self.five_b, self.five_c, self.five_d, self.five_e]
        return all_five[: self.five_heard]

    @fives.setter
    def fives(self, fives: list[float]) -> None:
        self.five_heard = 0
        for value in fives:
            self._into_five(value)

    @property
    def values(self) -> list[float]:
        """What was believed in the minute that runs."""
        return [self.first, *self.further] if self.believed else []

    @values.setter
    def values(self, values: list[float]) -> None:
        self.believed, self.further = len(values), values[1:]
        self.first = values[0] if values else 0.0

    def calm(self, closed: Closed) -> bool:
        """Whether that minute needs no look."""
        return (
            closed.five is None
            and closed.heard
            and not self.late
            and closed.flat_ms < self.flat_suspect_ms
            and self.calm_low <= closed.value <= self.calm_high
        )

    def wake(self, at_ms: int) -> None:
        """Have the ticks look at it from then on."""
        if self.due_ms == FAR_MS:
            self.awaiting[self.place] = 1
        self.due_ms = min(self.due_ms, at_ms)
