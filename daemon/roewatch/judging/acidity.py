"""Acidity: the slow ways of pH, told against the same hour of the days before.

Carbon dioxide makes every planted tank's pH go round with the light, so only the difference to the
tank's own day says anything. A pH that runs away is a crash; one that has lost its air goes with
the fishes' breath at night and the plants by day; one that creeps for days is a drifting probe.

The days are learned from hours in which nothing is wrong with the pH: a fault must not become what
the tank is held against, nor its mending look like the next fault. What it stays at for three days
is the tank's way, and is said to be.
"""

from statistics import fmean, median
from typing import Any, ClassVar

from roewatch.judging.finding import Finding, Forecast
from roewatch.judging.limits import Limits
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, HOUR_MS, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window

_PH = Quantity.PH
_FAST = (Kind.PH_CRASH, Kind.AERATION_STOPPED)
_SLOW = (*_FAST, Kind.PROBE_DRIFTING)
_WINDOW = (Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW)
_DAYS = 3
_ODD_DAYS = 7  # nobody's pH is the same for three days: after so many it is the way it goes
_KEPT_MS = 9 * HOUR_MS
_CUT_AT = 2 * _KEPT_MS // BUCKET_MS  # so many buckets: each cut moves the whole list
_STILL_MS = 6 * HOUR_MS
_NIGHT_H, _SLOWLY = 8, 1.3  # what goes with the light may take so long, and must go further
_TURNED_MS, _TURNED = 20 * HOUR_MS, 0.04  # breath has turned with the light by then, by so much
_PIECE_MS = HOUR_MS // 2


class Acidity:
    """One electrode's slow judging."""

    SAVED: ClassVar = (
        "hours", "hour", "values", "spread", "spread_count", "off_since", "off_sign", "odd_hours",
        "quiet_until", "offs", "last_off", "rebasing",
        "settling_until", "renamed", "adopted_ms", "furthest",
    )  # fmt: skip
    __slots__ = (*SAVED, "_known", "limits", "standing", "steady", "window", "witness")

    def __init__(self, witness: Witness, standing: Standing, limits: Limits) -> None:
        self.witness, self.standing, self.limits = witness, standing, limits
        self.window: Window | None = None
        self.steady = True  # nobody means to change the pH; False while conditioning
        self.hours: list[list[float]] = [[] for _ in range(24)]  # the last days' means, by hour
        self._known: dict[int, float | None] = {}  # what `_hour` said since they last changed
        self.hour = -1
        self.values: list[float] = []
        self.spread = 0.0  # sd of the ordinary difference to the days before
        self.spread_count = 0
        self.off_since = -1
        self.off_sign = 0
        self.odd_hours: list[list[Any]] = []  # [hour, mean] kept aside: away, or something is wrong
        self.quiet_until = -1
        self.last_off: float | None = None
        self.rebasing = False
        self.settling_until = -1
        self.offs: list[list[Any]] = []  # [end_ms, difference] of the last hours' buckets
        self.renamed = False  # the fast condition that stands had another name before
        self.furthest = 0.0  # the greatest difference since `off_since`
        self.adopted_ms = -1  # when an hour's odd ways were last taken as the tank's own

    def usual(self, at_ms: int) -> float | None:
        """What the days before had at this time of day; None before they are known."""
        place = at_ms / HOUR_MS - 0.5
        first = int(place)
        share = place - first
        before, after = self._hour(first), self._hour(first + 1)
        if before is None or after is None:
            return None
        return (1 - share) * before + share * after

    def as_usual(self, at_ms: int, value: float) -> bool:
        """Whether that is what the days before had at this time of day."""
        usual = self.usual(at_ms)
        return usual is not None and abs(value - usual) <= self.limit()

    def _hour(self, hour: int) -> float | None:
        """The days' value at that hour; the middle of three, so one spoilt hour does not count."""
        hour %= 24
        if hour not in self._known:
            near = [self.hours[(hour + by) % 24] for by in (-1, 0, 1)]
            middle = median(median(means) for means in near if means) if near[1] else None
            self._known[hour] = middle
        return self._known[hour]

    def bucket(self, at_ms: int, value: float, *, believed: bool, out: list[Finding]) -> None:
        """Five more minutes. believed: the probe stands in the tank's water."""
        hour = (at_ms - BUCKET_MS) // HOUR_MS
        if hour != self.hour:
            self._hour_over()
            self._known = {}
            self.hour, self.values = hour, []
        if not believed or at_ms <= self.quiet_until:
            self.offs = []
            return
        self.values.append(value)
        usual = self.usual(at_ms - BUCKET_MS // 2)
        if usual is None:
            return
        off = value - usual
        if self.rebasing and self._rebase(at_ms, off):
            return
        self.offs.append([at_ms, off])
        if len(self.offs) > _CUT_AT:
            self.offs = self._lately()
        self._judge(at_ms, value, off, out)

    def _lately(self) -> list[list[Any]]:
        """The differences of the last nine hours."""
        since_ms = self.offs[-1][0] - _KEPT_MS if self.offs else 0
        return [row for row in self.offs if row[0] > since_ms]

    def limit(self) -> float:
        """How far from the days before is too far for chance."""
        sd = self.spread if self.spread_count >= 24 else 0.02
        limits = self.limits
        return min(max(limits.ph_off, limits.ph_off_sd * sd), limits.ph_off_most)

    def _hour_over(self) -> None:
        due = HOUR_MS / max(self.witness.every_ms, BUCKET_MS)
        if len(self.values) < due / 2:
            return
        mean = fmean(self.values)
        usual = self.usual(self.hour * HOUR_MS + HOUR_MS // 2)
        kept = self.hours[self.hour % 24]
        level = usual
        if level is None and any(self.hours):
            level = median(value for means in self.hours for value in means)
        away = level is not None and abs(mean - level) > self.limit() * (1 if usual else 3)
        if away or self._ailing():
            self._set_aside(mean)
            return
        if usual is not None:
            if self.last_off is not None:
                # from hour to hour, so that a slow drift does not widen its own limit
                self.spread_count += 1
                weight = max(1 / self.spread_count, 1 / 72)
                square = (mean - usual - self.last_off) ** 2
                self.spread = (self.spread**2 + weight * (square - self.spread**2)) ** 0.5
            self.last_off = mean - usual
        if self.odd_hours:  # it is as usual again: what was away at this hour was no new way
            self.odd_hours = [row for row in self.odd_hours if (row[0] - self.hour) % 24]
        kept.append(mean)
        del kept[:-_DAYS]

    def _ailing(self) -> bool:
        """Whether something is wrong with this tank's pH, not only where it stands."""
        return any(key[1] is _PH and key[0] not in _WINDOW for key in self.standing.told)

    def _set_aside(self, mean: float) -> None:
        """An hour that is not to be learned; what days agree on is the tank's way after all."""
        self.odd_hours = [row for row in self.odd_hours if self.hour - row[0] < 24 * _ODD_DAYS]
        self.odd_hours.append([self.hour, mean])
        same = [row[1] for row in self.odd_hours if (row[0] - self.hour) % 24 == 0]
        last = same[-_DAYS:]
        creeps = last in (sorted(last), sorted(last, reverse=True))
        if self._agree(same, _DAYS) or (len(same) == _ODD_DAYS and not creeps):
            self._adopt()

    def _agree(self, means: list[float], days: int) -> bool:
        """Whether the last so many days say the same of an hour."""
        last = means[-days:]
        if len(last) < days:
            return False
        return not self.steady or max(last) - min(last) <= self.limit()  # a plan lowers it daily

    def _adopt(self) -> None:
        """The odd days are the tank's: all hours at once, else a step lies between two of them."""
        since = self.hour - 24 * _DAYS
        for hour in range(24):
            means = [mean for n, mean in self.odd_hours if n > since and n % 24 == hour]
            sure = self._agree(means, _DAYS - 1)
            self.hours[hour] = means[-_DAYS:] if sure else (means or self.hours[hour])[-1:]
        self.adopted_ms = (self.hour + 1) * HOUR_MS
        self.odd_hours, self.offs, self.last_off = [], [], None
        self.off_since, self.off_sign = -1, 0

    def _rebase(self, at_ms: int, off: float) -> bool:
        """After something explained, the tank may stand elsewhere: shift its days by as much."""
        self.offs.append([at_ms, off])
        offs = self._lately()
        if len(offs) < 6:
            return True
        shift = fmean(off for _, off in offs)
        if abs(shift) > 0.3 * self.limit():
            self.hours = [[value + shift for value in means] for means in self.hours]
            self._known = {}
            self.last_off = None
            self.odd_hours = []
        self.rebasing = False
        self.settling_until = at_ms + self.limits.ph_settle_ms
        self.offs = []
        self.off_since, self.off_sign = -1, 0
        return True

    def _judge(self, at_ms: int, value: float, off: float, out: list[Finding]) -> None:
        # what was poured takes its time to come to rest with the air and the light
        unsettled = 1.3 if at_ms < self.settling_until else 1.0
        limit = self.limit()
        sign = 1 if off > limit else -1 if off < -limit else 0
        if sign == 0 and abs(off) < 0.5 * limit:
            if self.off_since >= 0:
                self.off_since, self.off_sign = -1, 0
            last = self._lately()[-6:] if self.standing.told else []
            if len(last) == 6 and max(abs(off) for _, off in last) < 0.6 * limit:
                new = self.adopted_ms > at_ms - DAY_MS
                way = "so for days: taken as the tank's way"
                self._over(way if new else "as at this hour of the days before", out, *_SLOW)
            return
        if sign == 0:
            return
        if sign != self.off_sign:
            self.off_since, self.off_sign, self.furthest = at_ms, sign, 0.0
        self.furthest = max(self.furthest, abs(off))
        if at_ms - self.off_since < 2 * BUCKET_MS:
            return
        slope = self._slope(HOUR_MS * 3 // 2)
        if slope is None:
            return
        if self.standing.holds(Kind.PH_CRASH, _PH) and self._still():
            # what was lost stays lost; the window says whether the tank can live with it
            self._over(f"no longer falling, {abs(off):.2f} from the days before", out, *_FAST)
            self.rebasing, self.offs = True, []
        elif self._creeps(at_ms, off):
            self._over(f"it is rather: {Kind.PROBE_DRIFTING}", out, *_FAST)
            self._drift(at_ms, value, off, out)
        elif self._going(at_ms, sign, unsettled) or self.standing.any_of(*_FAST):
            self._fast(at_ms, value, off, slope, out)
        elif at_ms - self.off_since >= 16 * HOUR_MS and self.steady:
            self._drift(at_ms, value, off, out)

    def _going(self, at_ms: int, sign: int, unsettled: float) -> bool:
        """Whether it went away from the days before within the last hours.

        In four, or with the light in eight, as breath does: a probe drifts by day as by night.
        """
        now = fmean(off for _, off in self.offs[-3:])
        least = self.limits.ph_gone * unsettled
        spans = [(1, least), (2, least), (4, least)]
        if not self._drifting and self._by_night(at_ms) is (sign < 0):
            spans.append((_NIGHT_H, _SLOWLY * least))
        return any(
            (then := self._then(hours * HOUR_MS)) is not None and sign * (now - then) > far
            for hours, far in spans
        )

    @property
    def _drifting(self) -> bool:
        return self.standing.holds(Kind.PROBE_DRIFTING, _PH, self.witness.id)

    def _creeps(self, at_ms: int, off: float) -> bool:
        """Whether what was taken for breath has gone on as far by day as by night."""
        if not self.steady or self.standing.holds(Kind.PH_CRASH, _PH):
            return False
        if not self.standing.holds(Kind.AERATION_STOPPED, _PH):
            return False
        long = at_ms - self.off_since >= _TURNED_MS
        return long and abs(off) > self.furthest - _TURNED

    def _then(self, back_ms: int) -> float | None:
        """The difference so long ago, by three buckets; None when nobody knows."""
        offs = self._lately()
        until_ms = offs[-1][0] - back_ms
        end = len(offs)
        while end and offs[end - 1][0] > until_ms:
            end -= 1
        three = offs[max(end - 3, 0) : end]
        return fmean(off for _, off in three) if len(three) == 3 else None

    def _still(self) -> bool:
        """Whether the difference to the days before has held for the last six hours."""
        first_ms = self.offs[-1][0] - _STILL_MS
        pieces: dict[int, list[float]] = {}
        for at_ms, off in self.offs:
            if at_ms > first_ms:
                pieces.setdefault((at_ms - first_ms - 1) // _PIECE_MS, []).append(off)
        if len(pieces) < _STILL_MS // _PIECE_MS:
            return False
        means = [fmean(piece) for piece in pieces.values()]
        return max(means) - min(means) < self.limits.ph_gone

    def _slope(self, span_ms: int) -> float | None:
        """How fast the difference to the days before has been going, per hour."""
        lately = self._lately()
        since_ms = lately[-1][0] - span_ms
        offs = [row for row in lately if row[0] > since_ms]
        if len(offs) < 6:
            offs = lately[-6:]
        if len(offs) < 6:
            return None
        return fitted_per_h([at_ms for at_ms, _ in offs], [off for _, off in offs])

    def _by_night(self, at_ms: int) -> bool | None:
        """Whether the tank's own day goes down at this hour; None when it hardly has one."""
        means = [median(hour) for hour in self.hours if hour]
        if len(means) < 24 or max(means) - min(means) < 0.03:
            return None
        now, later = self.usual(at_ms), self.usual(at_ms + HOUR_MS)
        if now is None or later is None:
            return None
        return later - now < -0.002 or now < fmean(means)

    def _fast(self, at_ms: int, value: float, off: float, slope: float, out: list[Finding]) -> None:
        crash = self.standing.holds(Kind.PH_CRASH, _PH)
        airless = self.standing.holds(Kind.AERATION_STOPPED, _PH)
        quick = self._slope(HOUR_MS * 3 // 4)
        quick = slope if quick is None else quick
        fast = min(slope, quick) < -self.limits.ph_crash_per_h
        if off > 0:
            kind = Kind.AERATION_STOPPED
        elif fast or off < -0.45:
            kind = Kind.PH_CRASH
        elif crash and slope > self.limits.ph_slope_per_h:
            kind = Kind.AERATION_STOPPED  # it turns with the light: breath, not acid
        elif crash or airless:
            kind = Kind.PH_CRASH if crash else Kind.AERATION_STOPPED
        else:
            kind = Kind.PH_CRASH if self._by_night(at_ms) is False else Kind.AERATION_STOPPED
        if not self.steady and (kind is Kind.AERATION_STOPPED or off > -0.4):
            return  # a plan lowers the pH just so
        if not (crash or airless):
            self.renamed = False
        elif not (crash if kind is Kind.PH_CRASH else airless):
            if self.renamed:  # one cause has one name, and may be told again once
                kind = Kind.PH_CRASH if crash else Kind.AERATION_STOPPED
            self.renamed = True
        other = _FAST[0] if kind is _FAST[1] else _FAST[1]
        self._over(f"it is rather: {kind}", out, other)
        word = "above" if off > 0 else "below"
        going = f"{'rising' if slope > 0 else 'falling'} {abs(slope):.2f} an hour against them"
        message = (
            f"pH {value:.2f}, {abs(off):.2f} {word} the same hour of the days before for "
            f"{span_text(at_ms - self.off_since)}, {going}"
        )
        seen = Seen(
            kind=kind,
            quantity=_PH,
            since_ms=self.off_since,
            value=value,
            message=message,
            window=self.window.text(2) if self.window else "",
            forecast=self._exit(at_ms, value, kind),
            step=0.2,
        )
        self.standing.see(at_ms, seen, out)

    def _exit(self, at_ms: int, value: float, kind: Kind) -> Forecast | None:
        """When a crash leaves the window: the acid left speeds up as the buffer goes."""
        window = self.window
        last = self.witness.buckets[-9:]
        if kind is not Kind.PH_CRASH or window is None or window.low is None or len(last) < 6:
            return None
        slope = fitted_per_h([b.end_ms for b in last], [b.value for b in last])
        if slope is None or slope >= -0.02 or value <= window.low:
            return None
        hours = (window.low - value) / slope
        spans = (0.55 * hours - 0.1, 0.85 * hours, 1.25 * hours + 0.2)
        return Forecast(*(at_ms + round(max(h, 0.0) * HOUR_MS) for h in spans))

    def _drift(self, at_ms: int, value: float, off: float, out: list[Finding]) -> None:
        seen = Seen(
            kind=Kind.PROBE_DRIFTING,
            quantity=_PH,
            probe=self.witness.id,
            since_ms=self.off_since,
            value=value,
            message=f"pH {value:.2f}, creeping: {off:+.2f} against the days before for "
            f"{span_text(at_ms - self.off_since)}; calibrate, or measure by hand",
            step=0.2,
        )
        self.standing.see(at_ms, seen, out)

    def _over(self, why: str, out: list[Finding], *kinds: Kind) -> None:
        at_ms = self.witness.buckets[-1].end_ms
        for kind in kinds:
            probe = self.witness.id if kind is Kind.PROBE_DRIFTING else None
            if not self.standing.holds(kind, _PH, probe):
                continue
            seen = Seen(
                kind=kind, quantity=_PH, probe=probe, since_ms=at_ms, value=self.witness.f,
                message=f"pH {self.witness.f:.2f}, {why}",
            )  # fmt: skip
            self.standing.end(at_ms, seen, out)

    def quiet(self, until_ms: int, *, calibrated: bool = False) -> None:
        """The keeper's hands or an electrode in buffer explain the pH until then.

        Afterwards it may stand elsewhere, unless something slow is still wrong: then it is held
        against the days before that began. calibrated: a drift is over with that.
        """
        self.quiet_until = max(self.quiet_until, until_ms)
        self.off_since, self.off_sign = -1, 0
        self.values = []
        wrong = _FAST if calibrated else _SLOW
        if not any(key[0] in wrong and key[1] is _PH for key in self.standing.told):
            self.rebasing = True

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        row = [getattr(self, name) for name in self.SAVED]
        row[self.SAVED.index("offs")] = self._lately()
        return row

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        older = len(row) == len(self.SAVED) - 3
        if older:
            row = [*row, False, -1, 0.0]
        for name, value in zip(self.SAVED, row, strict=True):
            setattr(self, name, value)
        if older:  # its differences had no times
            self.offs = []
        self._known = {}
