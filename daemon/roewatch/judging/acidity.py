"""Acidity: the slow ways of pH, told against the same hour of the days before.

Carbon dioxide makes every planted tank's pH go round with the light, so only the difference to the
tank's own day says anything. A pH that runs away is a crash; one that has lost its air goes with
the fishes' breath at night and the plants by day; one that creeps for days is a drifting probe.
"""

from statistics import fmean, median
from typing import Any

from roewatch.judging.finding import Finding, Forecast
from roewatch.judging.limits import Limits
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window

_PH = Quantity.PH
_FAST = (Kind.PH_CRASH, Kind.AERATION_STOPPED)
_DAYS = 3
_STILL = 72  # five minutes each


class Acidity:
    """One electrode's slow judging."""

    SAVED = (
        "hours", "hour", "values", "spread", "spread_count", "off_since", "off_sign", "odd_hours",
        "quiet_until", "offs", "last_off", "rebasing",
        "settling_until",
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
        self.odd_hours: list[list[Any]] = []  # [hour, mean] kept aside while the pH is away
        self.quiet_until = -1
        self.last_off: float | None = None
        self.rebasing = False
        self.settling_until = -1
        self.offs: list[float] = []  # the last hours' differences, by bucket

    def usual(self, at_ms: int) -> float | None:
        """What the days before had at this time of day; None before they are known."""
        place = at_ms / HOUR_MS - 0.5
        first = int(place)
        share = place - first
        before, after = self._hour(first), self._hour(first + 1)
        if before is None or after is None:
            return None
        return (1 - share) * before + share * after

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
        self.offs.append(off)
        del self.offs[:-_STILL]
        self._judge(at_ms, value, off, out)

    def limit(self) -> float:
        """How far from the days before is too far for chance."""
        sd = self.spread if self.spread_count >= 24 else 0.02
        limits = self.limits
        return min(max(limits.ph_off, limits.ph_off_sd * sd), limits.ph_off_most)

    def _hour_over(self) -> None:
        if len(self.values) < 6:
            return
        mean = fmean(self.values)
        usual = self.usual(self.hour * HOUR_MS + HOUR_MS // 2)
        kept = self.hours[self.hour % 24]
        level = usual
        if level is None and any(self.hours):
            level = median(value for means in self.hours for value in means)
        away = level is not None and abs(mean - level) > self.limit() * (1 if usual else 3)
        if away:
            self.odd_hours = [row for row in self.odd_hours if self.hour - row[0] <= 72]
            self.odd_hours.append([self.hour, mean])
            same = [row[1] for row in self.odd_hours if (row[0] - self.hour) % 24 == 0]
            if len(same) >= 3:
                # three days the same at this hour: the tank's way, whatever it was before
                self.hours[self.hour % 24] = same
            return
        if usual is not None:
            if self.last_off is not None:
                # from hour to hour, so that a slow drift does not widen its own limit
                self.spread_count += 1
                weight = max(1 / self.spread_count, 1 / 72)
                square = (mean - usual - self.last_off) ** 2
                self.spread = (self.spread**2 + weight * (square - self.spread**2)) ** 0.5
            self.last_off = mean - usual
        kept.append(mean)
        del kept[:-_DAYS]

    def _rebase(self, at_ms: int, off: float) -> bool:
        """After something explained, the tank may stand elsewhere: shift its days by as much."""
        self.offs.append(off)
        if len(self.offs) < 6:
            return True
        shift = fmean(self.offs)
        if abs(shift) > 0.3 * self.limit():
            self.hours = [[value + shift for value in means] for means in self.hours]
            self._known = {}
            self.last_off = None
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
            near = self.standing.told and len(self.offs) >= 6
            if near and max(map(abs, self.offs[-6:])) < 0.6 * limit:
                self._over("as at this hour of the days before", out, *_FAST, Kind.PROBE_DRIFTING)
            return
        if sign == 0:
            return
        if sign != self.off_sign:
            self.off_since, self.off_sign = at_ms, sign
        if at_ms - self.off_since < 2 * BUCKET_MS:
            return
        slope = self._slope(18)
        if slope is None:
            return
        if self.standing.holds(Kind.PH_CRASH, _PH) and self._still():
            # what was lost stays lost; the window says whether the tank can live with it
            self._over(f"no longer falling, {abs(off):.2f} from the days before", out, *_FAST)
            self.rebasing, self.offs = True, []
        elif self._going(sign, unsettled) or self.standing.any_of(*_FAST):
            self._fast(at_ms, value, off, slope, out)
        elif at_ms - self.off_since >= 16 * HOUR_MS and self.steady:
            self._drift(at_ms, value, off, out)

    def _going(self, sign: int, unsettled: float) -> bool:
        """Whether it went away from the days before within the last one, two or four hours."""
        offs = self.offs
        now = fmean(offs[-3:])
        least = self.limits.ph_gone * unsettled
        return any(
            sign * (now - fmean(offs[-back - 3 : -back])) > least
            for back in (12, 24, 48)
            if len(offs) >= back + 3
        )

    def _still(self) -> bool:
        """Whether the difference to the days before has held for the last six hours."""
        if len(self.offs) < _STILL:
            return False
        means = [fmean(self.offs[n : n + 6]) for n in range(0, _STILL, 6)]
        return max(means) - min(means) < self.limits.ph_gone

    def _slope(self, buckets: int) -> float | None:
        """How fast the difference to the days before has been going, per hour."""
        offs = self.offs[-buckets:]
        if len(offs) < 6:
            return None
        return fitted_per_h([n * BUCKET_MS for n in range(len(offs))], offs)

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
        quick = self._slope(9)
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

    def quiet(self, until_ms: int) -> None:
        """The keeper's hands or an electrode in buffer explain the pH until then."""
        self.quiet_until = max(self.quiet_until, until_ms)
        self.off_since, self.off_sign = -1, 0
        self.values = []
        self.rebasing = True

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [getattr(self, name) for name in self.SAVED]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        for name, value in zip(self.SAVED, row, strict=True):
            setattr(self, name, value)
        self._known = {}
