"""Heat: whether a tank's heater does its work, told from its learned cycle.

With the heater off the water cools at a known rate, with it on it warms at a known rate; so the
slope of the last minutes says how much of the heater is at work: 0 none, 1 all of it. Beyond the
switch points the thermostat should have answered, and that share tells dead from weak.
"""

from math import sqrt
from typing import Any, ClassVar, Final

from roewatch.judging.air import Air
from roewatch.judging.cycle import Cycle
from roewatch.judging.doubt import Doubt
from roewatch.judging.finding import Finding
from roewatch.judging.heater_text import heater_text
from roewatch.judging.limits import Limits
from roewatch.judging.outlook import measured_per_h, outlook
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.thermostat import Thermostat
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.measured import temperature
from roewatch.room.moment import FAR_MS, HOUR_MS, MINUTE_MS, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Tank
from roewatch.room.window import Window

_HEATER: Final = (Kind.HEATER_DEAD, Kind.HEATER_STUCK_ON, Kind.HEATER_WEAK)


_BLIND_MS: Final = 30 * MINUTE_MS  # unseen for so long the water may have turned
_LEAST_READINGS: Final = 6  # tell a slope; of a probe that speaks seldom they take longer
_STEP: Final = 0.3  # °C a standing heater alarm must move to be told again


class Heat:
    """One tank's heating. `window` is the tank's temperature window, if it has one."""

    SAVED: ClassVar = (
        "low_since", "high_since", "good_since", "quiet_until", "off_since", "on_since",
        "bucket_ms",
    )  # fmt: skip
    __slots__ = (
        *SAVED, "air", "cycle", "doubt", "knob", "limits", "ramp_per_h", "room_c", "share",
        "standing", "tank", "thermostat", "window", "witness",
    )  # fmt: skip

    def __init__(self, tank: Tank, witness: Witness, standing: Standing, limits: Limits) -> None:
        self.tank = tank
        self.witness, self.standing, self.limits = witness, standing, limits
        self.cycle = Cycle(limits)
        self.thermostat = Thermostat(self)
        self.window: Window | None = None
        self.ramp_per_h = limits.ramp_celsius_per_h
        self.doubt = Doubt.NONE
        self.knob = 0.0  # °C the keeper's plan may turn the thermostat in one step
        self.room_c: float | None = None
        self.air: Air | None = None  # the course of the room's air, kept by the judge
        self.low_since = self.high_since = self.good_since = -1
        self.quiet_until = -1  # something else explains the water until then
        self.off_since = self.on_since = -1
        self.bucket_ms = -1  # the last five minutes that were believed
        self.share: float | None = None  # of the heater at work over the last 20 minutes

    @property
    def troubled(self) -> bool:
        """Whether a heater condition stands."""
        return self.standing.any_of(*_HEATER)

    @property
    def room_spread(self) -> float:
        """How far the room's air may be off, °C, where the tanks tell it; 0 by a probe."""
        return 0.0 if self.air is None else self.air.spread

    @property
    def few(self) -> float:
        """How many times as far off the five minutes may be as with a reading every minute."""
        return sqrt(max(self.witness.every_ms / MINUTE_MS, 1.0))

    def over_room(self, value: float) -> float | None:
        return None if self.room_c is None else value - self.room_c

    def room_ahead(self, hours: float) -> float | None:
        """The mean of the room's air over the next `hours`, °C; None while nothing is known."""
        if self.air is None or self.room_c is None or self.doubt in (Doubt.CUT, Doubt.COLD):
            return self.room_c  # a room without heating goes on as on no day before
        ahead = self.air.ahead(hours)
        return self.room_c if ahead is None else ahead

    def _share(self, minutes: int) -> float | None:
        """How much of the heater is at work, from the slope of the last `minutes`; None unknown."""
        cycle, witness = self.cycle, self.witness
        if not cycle.known or cycle.power <= 0.05:
            return None
        minutes = max(minutes, _LEAST_READINGS * witness.every_ms // MINUTE_MS)
        recent, recent_at = witness.lately(minutes), witness.lately_at(minutes)
        while recent_at and recent_at[0] <= recent_at[-1] - minutes * MINUTE_MS:
            del recent[0], recent_at[0]
        slope = fitted_per_h(recent_at, recent)
        if slope is None or len(recent) < 5:
            return None
        return self._share_of(slope)

    def _share_of(self, slope: float) -> float:
        """How much of the heater a slope of so many °C/h needs just now."""
        cycle = self.cycle
        return (slope + cycle.loss(self.over_room(self.witness.f))) / cycle.power

    def bucket(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """Five more minutes: follow the cycle, and set where the next minutes become urgent."""
        cycle = self.cycle
        blind = self.bucket_ms >= 0 and at_ms - self.bucket_ms > _BLIND_MS
        self.bucket_ms = at_ms
        if at_ms <= self.quiet_until or blind:
            cycle.forget_leg()
        turn = cycle.follow(self.witness.buckets, self.room_c, 1.3 * self.witness.norm, self.few)
        if turn is not None:
            self.thermostat.turn(turn, at_ms, quiet=at_ms <= self.quiet_until, out=out)
        self.thermostat.bucket(at_ms, value, out)
        self._guard(at_ms)
        buckets = self.witness.buckets
        self.share = None
        if cycle.known and cycle.power > 0.05 and len(buckets) >= 5:
            last, before = buckets[-1], buckets[-5]
            if last.end_ms - before.end_ms == 4 * BUCKET_MS:
                slope = (last.value - before.value) * HOUR_MS / (4 * BUCKET_MS)
                loss = cycle.loss(self.over_room(last.value))
                self.share = (slope + loss) / cycle.power
        off = self.share is not None and self.share < 0.35
        on = self.share is not None and self.share > 0.6
        self.off_since = (self.off_since if self.off_since >= 0 else at_ms) if off else -1
        self.on_since = (self.on_since if self.on_since >= 0 else at_ms) if on else -1

    def _allowance(self, at_ms: int, turned_ms: int) -> float:
        """How far a keeper may have turned the thermostat since the last turn seen, °C."""
        if turned_ms < 0:
            return 0.0
        hours = (at_ms - turned_ms) / HOUR_MS
        return min(hours * self.ramp_per_h, 0.25) + self.knob

    def _guard(self, at_ms: int) -> None:
        cycle, witness = self.cycle, self.witness
        if not cycle.known:
            return
        slack = 0.08 + self.thermostat.slack(at_ms)
        witness.guard_low = cycle.lower_min - slack - self._allowance(at_ms, cycle.trough_ms)
        witness.guard_high = cycle.upper_max + slack + self._allowance(at_ms, cycle.peak_ms)

    def calm(self) -> None:
        """A minute inside the switch points with nothing standing."""
        self.low_since = self.high_since = -1

    def minute(self, out: list[Finding]) -> None:
        """One more minute beyond a switch point, or while a heater condition stands."""
        witness = self.witness
        at_ms, value = witness.f_at, witness.f
        low, high = value < witness.guard_low, value > witness.guard_high
        self.low_since = (self.low_since if self.low_since >= 0 else at_ms) if low else -1
        self.high_since = (self.high_since if self.high_since >= 0 else at_ms) if high else -1
        if at_ms <= self.quiet_until:
            self.low_since = self.high_since = -1  # so far it says nothing of the heater
            return
        if low:
            self._judge_low(at_ms, value, out)
        if high:
            self._judge_high(at_ms, value, out)
        if self.troubled:
            self._judge_over(at_ms, value, out)

    def _beyond(self, at_ms: int, since_ms: int, far: float) -> bool:
        """Held long enough: a short while when far beyond, longer when just beyond."""
        held_ms = at_ms - since_ms
        if far >= self.limits.band_guard_celsius:
            return held_ms >= self.limits.band_hold_ms
        return held_ms >= 12 * MINUTE_MS

    def _judge_low(self, at_ms: int, value: float, out: list[Finding]) -> None:
        far = self.witness.guard_low + 0.08 - value
        if not self._beyond(at_ms, self.low_since, far):
            return
        if self.doubt is Doubt.CUT:
            return
        if self.doubt is Doubt.FALLING and at_ms - self.low_since < self.limits.together_ms:
            return
        share = self._share(20)
        if share is None or share >= 0.75:
            return
        dead = self.standing.holds(Kind.HEATER_DEAD, Quantity.TEMPERATURE)
        weak = self.standing.holds(Kind.HEATER_WEAK, Quantity.TEMPERATURE)
        if (dead or weak) and at_ms - self.low_since >= 45 * MINUTE_MS:
            # of two that look alike the longer look decides, and it does not waver
            slope = measured_per_h(self, 10)
            share = share if slope is None else self._share_of(slope)
        if share < (0.3 if dead else 0.12 if weak else 0.22):
            kind = Kind.HEATER_DEAD
        elif self.standing.holds(Kind.BAD_WATER_CHANGE, Quantity.TEMPERATURE):
            return  # it heats, and has more to heat than usual
        elif self.doubt is not Doubt.COLD and (weak or at_ms - self.low_since >= 30 * MINUTE_MS):
            if self.thermostat.fell_fast(self.low_since, self.witness.guard_low):
                self.thermostat.lid(at_ms, value, out)
                return
            kind = Kind.HEATER_WEAK
        else:
            return
        self._see(kind, at_ms, self.low_since, value, out)

    def _judge_high(self, at_ms: int, value: float, out: list[Finding]) -> None:
        far = value - self.witness.guard_high + 0.08
        if not self._beyond(at_ms, self.high_since, far):
            return
        share = self._share(15)
        if share is None or share < 0.5:
            return
        self._see(Kind.HEATER_STUCK_ON, at_ms, self.high_since, value, out)

    def _judge_over(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """A heater condition ends when the thermostat has answered for ten minutes."""
        share, cycle = self._share(20), self.cycle
        stuck = self.standing.holds(Kind.HEATER_STUCK_ON, Quantity.TEMPERATURE)
        if share is None:
            return
        inside = cycle.lower_min - 0.05 <= value <= cycle.upper_max + 0.05
        if self.standing.holds(Kind.HEATER_WEAK, Quantity.TEMPERATURE):
            # a weak heater looks well for a moment after each turn; the long look does not
            slope = measured_per_h(self, 10)
            well = slope is not None and self._share_of(slope) > 0.8
        else:
            well = share < 0.3 if stuck else share > 0.7 or (inside and share > 0.35)
        if not well:
            self.good_since = -1
            return
        if self.good_since < 0:
            self.good_since = at_ms
        if at_ms - self.good_since < self.limits.off_delay_ms:
            return
        word = "off" if stuck else "on"
        for kind in _HEATER:
            self._end(
                kind,
                at_ms,
                value,
                f"{temperature(value)}, the heater has switched {word} again",
                out,
            )
        self.good_since = -1

    def superseded(self, at_ms: int, why: str, out: list[Finding]) -> None:
        """Another finding explains the tank better."""
        for kind in _HEATER:
            self._end(kind, at_ms, self.witness.f, why, out)
        self.low_since = self.high_since = -1

    def _end(self, kind: Kind, at_ms: int, value: float, message: str, out: list[Finding]) -> None:
        seen = Seen(
            kind=kind, quantity=Quantity.TEMPERATURE, since_ms=at_ms, value=value, message=message
        )
        self.standing.end(at_ms, seen, out)

    def _see(self, kind: Kind, at_ms: int, since_ms: int, value: float, out: list[Finding]) -> None:
        for other in _HEATER:
            if other is not kind:
                self._end(other, at_ms, value, f"{temperature(value)}, it is rather: {kind}", out)
        slope = fitted_per_h(self.witness.lately_at(20), self.witness.lately(20)) or 0.0
        message = heater_text(kind, value, slope, self.cycle, at_ms - since_ms + MINUTE_MS)
        forecast = outlook(self, kind, at_ms, value, at_ms - since_ms + 10 * MINUTE_MS)
        if forecast and forecast.likely_ms and forecast.likely_ms > at_ms:
            message += f"; leaves the window in about {span_text(forecast.likely_ms - at_ms)}"
        ends_c = self.ends_c()
        if kind is Kind.HEATER_STUCK_ON and ends_c is not None and ends_c > value:
            message += f"; left alone it ends at about {temperature(ends_c, '.0f')}"
        self.standing.see(
            at_ms,
            Seen(
                kind=kind,
                quantity=Quantity.TEMPERATURE,
                since_ms=since_ms - MINUTE_MS,
                value=value,
                message=message,
                window=self.window.text(1) if self.window else "",
                forecast=forecast,
                step=_STEP,
            ),
            out,
        )

    def quiet(self, since_ms: int, until_ms: int) -> None:
        """A logged water change moves the water until then; the heater may be unplugged."""
        del since_ms
        self.quiet_until = max(self.quiet_until, self.quiet_ms(until_ms))

    @staticmethod
    def quiet_ms(until_ms: int) -> int:
        """Until when a water change that ended at `until_ms` explains the water."""
        return until_ms + 15 * MINUTE_MS

    def ends_c(self) -> float | None:
        """Where the water comes to rest with the heater always on, °C; None while not known."""
        hours = self.cycle.time_constant_h()
        return None if self.room_c is None or not hours else self.room_c + self.cycle.power * hours

    def left_ms(self) -> int:
        """How long until the water leaves its window with the heater off; huge when it will not."""
        value, at_ms = self.witness.f, self.witness.f_at
        found = outlook(self, Kind.HEATER_DEAD, at_ms, value, 0)
        if found is None or found.likely_ms is None:
            return FAR_MS
        return max(found.likely_ms - at_ms, 0)

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        known = self.witness.guard_high < 1e6
        guards = [self.witness.guard_low, self.witness.guard_high] if known else None
        return [*(getattr(self, name) for name in self.SAVED), self.share, self.room_c,
                guards, self.cycle.dump(), self.thermostat.dump()]  # fmt: skip

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        *saved, self.share, self.room_c, guards, cycle, thermostat = row
        self.thermostat.load(thermostat)
        if guards:
            self.witness.guard_low, self.witness.guard_high = guards
        for name, value in zip(self.SAVED, saved, strict=True):
            setattr(self, name, value)
        self.cycle.load(cycle)
