"""Together: what the whole room shows and no single tank can: a power cut, a cold room."""

from collections.abc import Sequence
from math import ceil
from statistics import fmean
from typing import Any

from roewatch.judging.air import Air
from roewatch.judging.doubt import Doubt
from roewatch.judging.finding import Finding
from roewatch.judging.heat import Heat
from roewatch.judging.inferred_air import InferredAir
from roewatch.judging.jump import Jump
from roewatch.judging.limits import Limits
from roewatch.judging.pouring import Pouring
from roewatch.judging.standing import Seen, Standing
from roewatch.room.kind import Kind
from roewatch.room.measured import temperature, warmer
from roewatch.room.moment import FAR_MS, HOUR_MS, MINUTE_MS, span_text
from roewatch.room.quantity import Quantity

_SLOW_H = 8  # hours in which a room without heating may still be on its way down
_INFERRED = 0.5  # °C an inferred air may go to and fro by itself


class Together:
    """The heated tanks of the room, looked at every five minutes."""

    SAVED = ("falling_since", "back_since", "suspect", "hour", "now", "hours", "cold_since")
    __slots__ = (
        "air", "back_since", "by_probe", "cold_since", "falling_since", "hour", "inferred",
        "limits", "standing", "suspect",
    )  # fmt: skip

    def __init__(self, standing: Standing, limits: Limits) -> None:
        self.standing, self.limits = standing, limits
        self.falling_since = -1
        self.back_since = -1
        self.hour = -1
        self.air = Air()
        self.inferred = InferredAir()
        self.by_probe = True  # whether the hours of the air are a probe's
        self.cold_since = -1
        self.suspect = False  # all fall: dead heaters may be one power cut

    @property
    def hours(self) -> list[float]:
        """The room's hourly means, oldest first."""
        return self.air.hours

    @hours.setter
    def hours(self, hours: list[float]) -> None:
        self.air.hours = hours

    @property
    def now(self) -> list[float]:
        """The room's air in this hour."""
        return self.air.now

    @now.setter
    def now(self, looks: list[float]) -> None:
        self.air.now = looks

    @property
    def doubt(self) -> Doubt:
        """What a single tank should know before it blames its heater."""
        if self.standing.holds(Kind.POWER_CUT):
            return Doubt.CUT
        if self.standing.holds(Kind.ROOM_HEATING_LOST, Quantity.TEMPERATURE):
            return Doubt.COLD
        return Doubt.FALLING if self.suspect else Doubt.NONE

    def judge(self, tick_ms: int, heats: Sequence[Heat], out: list[Finding]) -> None:
        """One more look at all heated tanks whose cycle is known and whose probe is fresh."""
        for heat in heats:
            # calm minutes may still wait; they matter where the last one seems long ago
            if tick_ms - heat.witness.f_at > 9 * MINUTE_MS:
                heat.witness.fold(tick_ms)
        seen = [
            heat
            for heat in heats
            if heat.share is not None and tick_ms - heat.witness.f_at < 15 * MINUTE_MS
        ]
        if len(seen) < self.limits.together_tanks:
            return
        off = [heat for heat in seen if heat.off_since >= 0]
        on = [heat for heat in seen if heat.on_since >= 0]
        cut = self.standing.holds(Kind.POWER_CUT)
        falling = len(off) >= self.limits.together_share * len(seen) and not on
        if not falling:
            self.falling_since = -1
            self.suspect = False
            if cut:
                self._back(tick_ms, seen, on, heats, out)
            return
        self.back_since = -1
        if self.falling_since < 0:
            self.falling_since = max(heat.off_since for heat in off)
        for heat in heats:
            heat.witness.fold(tick_ms)
        overdue = [heat for heat in off if self._overdue(heat)]
        self.suspect = True
        if cut:
            self._see(tick_ms, off, out)
            return
        held = tick_ms - self.falling_since >= self.limits.together_ms // 2  # shares span 20 min
        if held and len(overdue) >= max(2, ceil(0.2 * len(seen))):
            for heat in heats:
                heat.superseded(tick_ms, "the whole room has lost its heating: see power cut", out)
            self._see(tick_ms, off, out)

    def _overdue(self, heat: Heat) -> bool:
        """It should heat and does not: below its switch point, or turned before the top."""
        cycle = heat.cycle
        if heat.witness.f < cycle.lower_min - 0.06:
            return True
        since_turn = heat.witness.f_at - heat.thermostat.last_peak_ms
        early = heat.thermostat.last_peak < cycle.upper - 0.3 * cycle.swing
        return early and since_turn < 2 * HOUR_MS

    def _see(self, tick_ms: int, off: Sequence[Heat], out: list[Finding]) -> None:
        tanks = sorted(off, key=lambda heat: (heat.left_ms(), heat.standing.tank))
        order = []
        for heat in tanks:
            left = heat.left_ms()
            said = f" {span_text(left)}" if left < FAR_MS else ""
            order.append(f"{heat.standing.tank}{said}")
        since = span_text(tick_ms - self.falling_since)
        self.standing.see(
            tick_ms,
            Seen(
                kind=Kind.POWER_CUT,
                since_ms=self.falling_since,
                message=f"all {len(off)} heated tanks have been cooling for {since}, none heats; "
                f"time left in the window, shortest first: {', '.join(order)}",
                children=tuple(heat.standing.tank for heat in tanks),
            ),
            out,
        )

    def _back(
        self,
        tick_ms: int,
        seen: Sequence[Heat],
        on: Sequence[Heat],
        heats: Sequence[Heat],
        out: list[Finding],
    ) -> None:
        if len(on) < 0.5 * len(seen):
            self.back_since = -1
            return
        if self.back_since < 0:
            self.back_since = tick_ms
        if tick_ms - self.back_since < self.limits.off_delay_ms:
            return
        said = f"{len(on)} of {len(seen)} tanks are heating again"
        over = Seen(kind=Kind.POWER_CUT, since_ms=tick_ms, message=said)
        self.standing.end(tick_ms, over, out)
        for heat in heats:
            # all come back from below at once; their next legs are no ordinary ones
            heat.quiet_until = max(heat.quiet_until, tick_ms + HOUR_MS)

    def judge_swaps(self, tanks: Sequence[Pouring], out: list[Finding]) -> None:
        """Two probes that jumped at once to each other's level have changed places."""
        for quantity in (Quantity.TEMPERATURE, Quantity.PH):
            jumping = []
            for pouring in tanks:
                jump = pouring.warm if quantity is Quantity.TEMPERATURE else pouring.sour
                if jump is not None and jump.open and jump.sharp:
                    jumping.append((pouring, jump))
            for n, (one, mine) in enumerate(jumping):
                for two, theirs in jumping[n + 1 :]:
                    if mine.open and theirs.open and _crossed(mine, theirs):
                        one.swapped(two, quantity, out)

    def judge_air(
        self, tick_ms: int, measured: float | None, heats: Sequence[Heat], out: list[Finding]
    ) -> None:
        """The room's air against its own last days: has it lost its heating?

        measured: what the room's probe says, °C; None for a room without one, whose tanks tell it.
        """
        room_c, spread = measured, 0.0
        if measured is None:
            self.inferred.look(tick_ms, heats)
            room_c, spread = self.inferred.celsius, self.inferred.spread or 0.0
        self.air.spread = spread
        if room_c is None:
            return
        if self.by_probe is not (measured is not None):
            self.by_probe, self.hours, self.now = measured is not None, [], []
        cold = self.standing.holds(Kind.ROOM_HEATING_LOST, Quantity.TEMPERATURE)
        hour = tick_ms // HOUR_MS
        if hour != self.hour:
            if self.now and not cold:
                self.hours.append(fmean(self.now))
                del self.hours[:-120]
            self.hour, self.now = hour, []
        self.now.append(room_c)
        # a room that cools slowly would else be held against its own first hours of cooling
        before = self.hours[:-_SLOW_H]
        if len(before) >= 24:
            self._judge_cold(tick_ms, room_c, sorted(before), out)

    def _judge_cold(
        self, tick_ms: int, room_c: float, ordered: list[float], out: list[Finding]
    ) -> None:
        """ordered: the hours it is held against, coldest first."""
        limits = self.limits
        below = ordered[1] - room_c
        # a room whose heating holds it steady is lost sooner than one that follows the weather
        usual = ordered[-2] - ordered[1]
        least, hold_ms = limits.room_cold_celsius, 15 * MINUTE_MS
        if not self.by_probe:  # where it stands is guessed, how it goes is not; and it goes slowly
            least, hold_ms = least + _INFERRED, HOUR_MS
        if below > max(least, limits.room_cold_share * usual):
            if self.cold_since < 0:
                self.cold_since = tick_ms
            if tick_ms - self.cold_since >= hold_ms:
                said = (
                    f"{self._air_text(room_c)}, {warmer(below)} below the coldest hour of the last "
                    "days: its heating has failed or a window is open"
                )
                self.standing.see(tick_ms, _cold(self.cold_since, room_c, said), out)
            return
        self.cold_since = -1
        if below < 0.3 and self.standing.holds(Kind.ROOM_HEATING_LOST, Quantity.TEMPERATURE):
            self.standing.end(
                tick_ms, _cold(tick_ms, room_c, f"{self._air_text(room_c)} again"), out
            )

    def _air_text(self, room_c: float) -> str:
        if self.by_probe:
            return f"the room's air is at {temperature(room_c)}"
        return (
            f"the room's air is at about {temperature(room_c, '.0f')}, give or take "
            f"{warmer(self.inferred.spread or 0.0)}, by the cooling of {self.inferred.tanks} tanks"
        )

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        saved = [getattr(self, name) for name in self.SAVED]
        return [*saved, self.by_probe, self.inferred.dump()]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave, or an older program's. Raises ValueError or TypeError on others."""
        saved, inferred = row[: len(self.SAVED)], row[len(self.SAVED) :]
        for name, value in zip(self.SAVED, saved, strict=True):
            setattr(self, name, value)
        if inferred:
            self.by_probe, state = inferred
            self.inferred.load(state)
            self.air.spread = 0.0 if self.by_probe else self.inferred.spread or 0.0


def _cold(since_ms: int, room_c: float, message: str) -> Seen:
    return Seen(
        kind=Kind.ROOM_HEATING_LOST, quantity=Quantity.TEMPERATURE, since_ms=since_ms,
        value=room_c, message=message, step=1.0,
    )  # fmt: skip


def _crossed(one: Jump, two: Jump) -> bool:
    """Whether each went to where the other was, in the same minutes."""
    if abs(one.since_ms - two.since_ms) > 3 * MINUTE_MS:
        return False
    near = 0.35 if one.witness.probe.quantity is Quantity.TEMPERATURE else 0.12
    now_one, now_two = one.before + one.moved(), two.before + two.moved()
    return abs(now_one - two.before) < near and abs(now_two - one.before) < near
