"""Pouring: what jumps in a tank's temperature and pH mean, taken together.

Decided within minutes, because until then neither the heater nor the window is judged on them.
"""

from collections.abc import Iterable

from roewatch.judging.acidity import Acidity
from roewatch.judging.finding import Finding
from roewatch.judging.heat import Heat
from roewatch.judging.jump import Jump
from roewatch.judging.limits import Limits
from roewatch.judging.standing import Seen, Standing
from roewatch.room.kind import Kind
from roewatch.room.measured import temperature
from roewatch.room.moment import HOUR_MS, MINUTE_MS, span_text
from roewatch.room.quantity import Quantity, shown

_T, _PH = Quantity.TEMPERATURE, Quantity.PH
# of its fastest two minutes: what pours goes on so, what runs to the air does not
_EVEN, _NEARLY_EVEN, _SLOWING, _STANDING = 0.78, 0.7, 0.5, 0.1
OF_PROBE = (Kind.PROBE_DRY, Kind.PROBE_SWAPPED, Kind.PROBE_IN_BUFFER)
OF_WATER = (Kind.BAD_WATER_CHANGE, Kind.ACID_OVERDOSE, Kind.HARD_WATER)


class Pouring:
    """The jumps of one tank: `warm` of its thermometer, `sour` of its electrode, or None."""

    def __init__(
        self,
        standing: Standing,
        limits: Limits,
        *,
        warm: Jump | None,
        sour: Jump | None,
        heat: Heat | None,
        acidity: Acidity | None,
    ) -> None:
        self.standing, self.limits = standing, limits
        self.warm, self.sour, self.heat, self.acidity = warm, sour, heat, acidity

    def minute(
        self, *, fresh: Iterable[Quantity], logged: bool, room_c: float | None, out: list[Finding]
    ) -> None:
        """One more minute. logged: the journal has a water change just now."""
        warm, sour = self.warm, self.sour
        told = self.standing.told
        if warm is not None and _T in fresh:
            if told:
                self._over(warm, _T, out)
            warm.minute(away=self._elsewhere(warm, _T))
        if sour is not None and _PH in fresh:
            if told:
                self._over(sour, _PH, out)
            sour.minute(away=self._elsewhere(sour, _PH))
        if warm is not None and warm.since_ms >= 0 and warm.open:
            self._judge_warm(warm, sour, logged=logged, room_c=room_c, out=out)
        if sour is not None and sour.since_ms >= 0 and sour.open:
            self._judge_sour(sour, warm, logged=logged, out=out)

    # -- what began ------------------------------------------------------------------------------

    def _judge_warm(
        self, warm: Jump, sour: Jump | None, *, logged: bool, room_c: float | None,
        out: list[Finding],
    ) -> None:  # fmt: skip
        moved = warm.moved()
        mixed = sour is not None and sour.since_ms >= 0
        if logged and abs(moved) < self.limits.change_margin_celsius:
            if warm.age_ms() >= 3 * self.limits.jump_decide_ms:
                warm.name()
            return
        if not mixed and warm.towards_air(room_c):
            air = f"{temperature(warm.witness.f)}, the room's air"
            said = f"the probe has run to {air}: is it out of the water?"
            self._see(Kind.PROBE_DRY, warm, said, out)
            self._explained(warm, out)
            return
        mixes = mixed or (sour is not None and sour.stirred())
        if warm.age_ms() < (MINUTE_MS if mixes else self._even_ms(warm)):
            return
        even = warm.evenness()
        slows = not mixes and moved < 0 and even < _SLOWING
        stands = warm.sharp and even < _STANDING
        if slows and not stands and warm.age_ms() < 2 * self.limits.jump_decide_ms:
            return  # perhaps on its way to the air
        if warm.sharp and not mixes and even < _SLOWING:  # and it stays there
            # a probe set elsewhere: the cycle will show where it now switches
            if self.heat is not None:
                self.heat.thermostat.allow(warm.witness.f_at + 8 * HOUR_MS, abs(moved) + 0.1)
            warm.name()
            return
        if sour is not None and mixed and abs(moved) < 0.7:
            warm.name()  # the pH tells it better
            return
        self._see(Kind.BAD_WATER_CHANGE, warm, self._change_text(warm, moved), out)
        self._explained(warm, out)
        if sour is not None:
            sour.name()

    def _even_ms(self, warm: Jump) -> int:
        """How long to look at a jump no electrode shares; water pours evenly, and shows it sooner.

        A probe hanging in the air goes half as fast after three minutes as at first.
        """
        if warm.sharp:
            return self.limits.jump_decide_ms
        even = warm.evenness()
        if even > _EVEN:
            return self.limits.jump_sure_ms
        later_ms = self.limits.jump_sure_ms + MINUTE_MS
        return later_ms if even > _NEARLY_EVEN else self.limits.jump_decide_ms

    def _judge_sour(
        self, sour: Jump, warm: Jump | None, *, logged: bool, out: list[Finding]
    ) -> None:
        moved = sour.moved()
        buffer = sour.in_buffer()
        if sour.sharp and buffer is not None:
            said = (
                f"pH {sour.witness.f:.2f} at once, like buffer {buffer:g}: is it being calibrated?"
            )
            self._see(Kind.PROBE_IN_BUFFER, sour, said, out)
            sour.name(10 * MINUTE_MS)
            return
        if logged and (abs(moved) < self.limits.change_margin_ph or self._mending(sour)):
            if sour.age_ms() >= 3 * self.limits.jump_decide_ms:
                sour.name()
            return
        cooled = warm is not None and warm.since_ms >= 0 and abs(warm.moved()) >= 0.7
        wait_ms = self.limits.jump_decide_ms
        if sour.sharp:
            wait_ms //= 2  # a buffer has shown itself by then
        elif sour.great():
            wait_ms = self.limits.jump_sure_ms
        if sour.age_ms() < wait_ms:
            return
        if cooled:
            return  # the thermometer tells it
        if self._set_right(sour):
            sour.name()
            return
        kind = Kind.ACID_OVERDOSE if moved < 0 else Kind.HARD_WATER
        cause = "acid" if moved < 0 else "hard or alkaline water"
        span = span_text(sour.age_ms() + 8 * MINUTE_MS)
        said = (
            f"pH {sour.before:.2f} to {sour.witness.f:.2f} within {span}: too much {cause} at once"
        )
        self._see(kind, sour, said, out)
        sour.name()

    def _mending(self, sour: Jump) -> bool:
        """Whether the pH comes back into its window, or to what the tank had on the days before."""
        if self.acidity is None:
            return False
        window = self.acidity.window
        if window is not None:
            before, now = window.outside_by(sour.before), window.outside_by(sour.witness.f)
            if abs(now) < abs(before) and now * before >= 0:
                return True
        usual = self.acidity.usual(sour.witness.f_at)
        if usual is None:
            return False
        return abs(sour.witness.f - usual) < abs(sour.before - usual)

    def _set_right(self, sour: Jump) -> bool:
        """Whether an electrode that had drifted says again what the days before it did."""
        witness = sour.witness
        drifted = self.standing.holds(Kind.PROBE_DRIFTING, _PH, witness.id)
        return (
            drifted and self.acidity is not None and self.acidity.as_usual(witness.f_at, witness.f)
        )

    def _change_text(self, warm: Jump, moved: float) -> str:
        span = span_text(warm.age_ms() + 8 * MINUTE_MS)
        word = "colder" if moved < 0 else "warmer"
        return (
            f"{temperature(warm.before)} to {temperature(warm.witness.f)} within {span}, as if "
            f"much {word} water had been poured in"
        )

    def swapped(self, other: "Pouring", quantity: Quantity, out: list[Finding]) -> None:
        """This tank's probe and the other's have changed places."""
        for mine, theirs in ((self, other), (other, self)):
            jump = mine.warm if quantity is _T else mine.sour
            assert jump is not None
            said = (
                f"{shown(quantity, jump.witness.f)} at once, the level of {theirs.standing.tank} "
                "before, and the other way round: the two probes are swapped"
            )
            mine._see(Kind.PROBE_SWAPPED, jump, said, out)
            mine._explained(jump, out)

    def _explained(self, jump: Jump, out: list[Finding]) -> None:
        """The heater has nothing to do with it."""
        jump.name()
        if self.heat is not None and jump is self.warm:
            at_ms = jump.witness.f_at
            self.heat.superseded(at_ms, "something else explains it", out)
            self.heat.quiet_until = max(self.heat.quiet_until, at_ms + HOUR_MS // 2)

    def _elsewhere(self, jump: Jump, quantity: Quantity) -> bool:
        """Whether it has been told that the probe is not in its tank's water."""
        return any(self.standing.holds(kind, quantity, jump.witness.id) for kind in OF_PROBE)

    # -- what ended ------------------------------------------------------------------------------

    def _over(self, jump: Jump, quantity: Quantity, out: list[Finding]) -> None:
        value = jump.witness.f
        probe = jump.witness.id
        standing = self.standing.told
        for kind in OF_PROBE:
            told = standing.get((kind, quantity, probe))
            if told is None or jump.witness.f_at - told.since_ms < 3 * MINUTE_MS:
                continue
            if kind is Kind.PROBE_IN_BUFFER:
                away = jump.in_buffer() is None and abs(value - jump.before) < 0.3
                away = away or jump.witness.f_at - told.since_ms > HOUR_MS
            else:
                away = abs(value - jump.before) < self._near(quantity)
                if kind is Kind.PROBE_SWAPPED:
                    away = away or jump.witness.f_at - told.since_ms > self.limits.adopt_ms
            if away:
                said = f"{shown(quantity, value)}, as before"
                self._end(kind, jump, said, out)
                jump.forget(15 * MINUTE_MS)
                if self.heat is not None and quantity is _T:
                    quiet = jump.witness.f_at + 20 * MINUTE_MS
                    self.heat.quiet_until = max(self.heat.quiet_until, quiet)
        for kind in OF_WATER:
            of = _T if kind is Kind.BAD_WATER_CHANGE else _PH
            if of is not quantity or (told := standing.get((kind, of, None))) is None:
                continue
            back = abs(value - jump.before) < self._near(quantity)
            if back or jump.witness.f_at - told.since_ms > self.limits.adopt_ms:
                self._end(kind, jump, f"{shown(quantity, value)}, the tank has recovered", out)

    def _near(self, quantity: Quantity) -> float:
        if quantity is _PH:
            return 0.2
        swing = self.heat.cycle.swing if self.heat is not None else 0.0
        return max(0.5, swing + 0.2)

    def _see(self, kind: Kind, jump: Jump, message: str, out: list[Finding]) -> None:
        of_probe = kind in OF_PROBE
        seen = Seen(
            kind=kind,
            quantity=jump.witness.probe.quantity,
            probe=jump.witness.id if of_probe else None,
            since_ms=jump.since_ms - 3 * MINUTE_MS,
            value=jump.witness.f,
            message=message,
        )
        self.standing.see(jump.witness.f_at, seen, out)

    def _end(self, kind: Kind, jump: Jump, message: str, out: list[Finding]) -> None:
        of_probe = kind in OF_PROBE
        seen = Seen(
            kind=kind,
            quantity=jump.witness.probe.quantity,
            probe=jump.witness.id if of_probe else None,
            since_ms=jump.witness.f_at,
            value=jump.witness.f,
            message=message,
        )
        self.standing.end(jump.witness.f_at, seen, out)
