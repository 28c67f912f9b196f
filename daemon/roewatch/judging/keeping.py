"""A keeping: one tank, or the room's air, as the judge knows it, with probes and journal."""

from typing import Any

from roewatch.judging.bounds import Bounds, bounds_of, judge_bounds
from roewatch.judging.finding import Finding
from roewatch.judging.heat import Doubt, Heat
from roewatch.judging.honesty import judge_honesty, judge_noise, judge_patchy
from roewatch.judging.limits import Limits
from roewatch.judging.rate import Rates
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.witness import Witness
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import Tank


class Keeping:
    """One tank's judging. tank: None for the room's own probes."""

    def __init__(self, tank_id: str, limits: Limits) -> None:
        self.id = tank_id
        self.limits = limits
        self.tank: Tank | None = None
        self.standing = Standing(tank_id, limits.retell_ms)
        self.witnesses: list[Witness] = []
        self.bounds: dict[str, Bounds] = {}
        self.rates: dict[str, Rates] = {}
        self.heat: Heat | None = None
        self.changes: list[list[int]] = []  # [from, until] of logged water changes
        self.calibrations: list[list[Any]] = []  # [from, until, quantity]
        self.changed = True

    def settle(self, tank: Tank | None, witnesses: list[Witness]) -> None:
        """Take over what the settings say; what was learned of the same probes stays."""
        self.tank = tank
        self.witnesses = witnesses
        self.bounds = {}
        rates, self.rates = self.rates, {}
        spoken: set[Quantity] = set()
        thermometer: Witness | None = None
        for witness in witnesses:
            quantity = witness.probe.quantity
            witness.spoken_as = witness.id if quantity in spoken else None
            if quantity is Quantity.TEMPERATURE and quantity not in spoken:
                thermometer = witness
            spoken.add(quantity)
            if tank is None:
                continue
            window = tank.windows.get(quantity)
            if window is not None:
                self.bounds[witness.id] = bounds_of(window, quantity, self.limits)
            kept = rates.get(witness.id)
            if kept is None or kept.witness is not witness:
                kept = Rates(witness, self.limits)
            kept.rate_limits = tank.rates.get(quantity, ())
            self.rates[witness.id] = kept
        self._settle_heat(tank, thermometer)
        self.changed = True

    def _settle_heat(self, tank: Tank | None, thermometer: Witness | None) -> None:
        if tank is None or thermometer is None or tank.heater_watts <= 0:
            self.heat = None
            return
        heat = self.heat
        if heat is None or heat.witness is not thermometer:
            heat = self.heat = Heat(thermometer, self.standing, self.limits)
        heat.window = tank.windows.get(Quantity.TEMPERATURE)
        conditioning = tank.stage is Stage.CONDITIONING
        limits = self.limits
        heat.ramp_per_h = (
            limits.ramp_conditioning_per_h if conditioning else limits.ramp_celsius_per_h
        )
        heat.knob = limits.knob_conditioning_celsius if conditioning else 0.0

    # -- the journal -----------------------------------------------------------------------------

    def enter(self, entry: JournalEntry, out: list[Finding]) -> None:
        """The keeper did something here."""
        until_ms = entry.at_ms if entry.until_ms is None else entry.until_ms
        self.changed = True
        if entry.deed is Deed.WATER_CHANGE:
            self.changes.append([entry.at_ms, until_ms])
            del self.changes[:-8]
            if self.heat is not None:
                self.heat.quiet(entry.at_ms - self.limits.change_before_ms, until_ms)
            said = f"water change in the journal{f': {entry.detail}' if entry.detail else ''}"
            seen = Seen(kind=Kind.WATER_CHANGE, since_ms=entry.at_ms, message=said, explained=True)
            self.standing.see(entry.at_ms, seen, out)
        elif entry.deed is Deed.CALIBRATION:
            word = entry.detail.strip().lower()
            named = next((q for q in Quantity if q in word), Quantity.PH)
            self.calibrations.append([entry.at_ms, until_ms, named])
            del self.calibrations[:-8]

    def in_change(self, at_ms: int) -> bool:
        """Whether a logged water change explains the water at that moment."""
        before, after = self.limits.change_before_ms, self.limits.change_after_ms
        return any(since - before <= at_ms <= until + after for since, until in self.changes)

    def in_calibration(self, quantity: Quantity, at_ms: int) -> bool:
        """Whether a logged calibration explains what that probe says at that moment."""
        before, after = self.limits.change_before_ms, self.limits.calibration_after_ms
        return any(
            named == quantity and since - before <= at_ms <= until + after
            for since, until, named in self.calibrations
        )

    def _margin(self, quantity: Quantity, at_ms: int) -> float:
        if not self.changes or not self.in_change(at_ms):
            return 0.0
        if quantity is Quantity.TEMPERATURE:
            return self.limits.change_margin_celsius
        return self.limits.change_margin_ph if quantity is Quantity.PH else 0.0

    # -- every tick ------------------------------------------------------------------------------

    def judge(
        self, tick_ms: int, *, together: Doubt, room_c: float | None, out: list[Finding]
    ) -> None:
        """All that can be told of this tank alone, from minutes closed at or before the tick."""
        heat = self.heat
        if heat is not None:
            heat.room_c = room_c
        for witness in self.witnesses:
            if witness.fresh:
                self._bucket(witness, out)
            if witness.news:
                self._minute(witness, out)
            should_move = heat is not None and heat.witness is witness and heat.cycle.known
            if witness.sick or witness.flat_ms >= witness.flat_suspect_ms or self.standing.told:
                judge_honesty(witness, self.standing, should_move=should_move, out=out)
                witness.sick = False
        if heat is not None and heat.witness.news:
            if heat.witness.hot or (self.standing.told and heat.troubled):
                heat.minute(together, out)
            else:
                heat.calm()
        for witness in self.witnesses:
            witness.news = witness.fresh = witness.hot = False
        if self.changes and self.standing.holds(Kind.WATER_CHANGE):
            self._change_over(tick_ms, out)

    def _minute(self, witness: Witness, out: list[Finding]) -> None:
        bounds = self.bounds.get(witness.id)
        if bounds is None:
            return
        quantity = witness.probe.quantity
        if self.calibrations and self.in_calibration(quantity, witness.f_at):
            return
        judge_bounds(witness, bounds, self._margin(quantity, witness.f_at), self.standing, out)

    def _bucket(self, witness: Witness, out: list[Finding]) -> None:
        bucket = witness.buckets[-1]
        quantity = witness.probe.quantity
        judge_noise(witness, self.standing, out)
        judge_patchy(witness, self.standing, out)
        if self.calibrations and self.in_calibration(quantity, bucket.end_ms):
            return
        heat = self.heat
        if heat is not None and heat.witness is witness:
            heat.bucket(bucket.end_ms, bucket.value)
        rates = self.rates.get(witness.id)
        if rates is not None:
            if heat is not None and heat.witness is witness:
                rates.swing = heat.cycle.swing
            if not self.changes or not self.in_change(bucket.end_ms):
                rates.bucket(bucket.end_ms, bucket.value, self.standing, out)

    def _change_over(self, tick_ms: int, out: list[Finding]) -> None:
        since_ms, until_ms = self.changes[-1]
        if tick_ms <= until_ms + self.limits.change_after_ms:
            return
        seen = Seen(
            kind=Kind.WATER_CHANGE,
            since_ms=since_ms,
            message="the logged water change is over",
            explained=True,
        )
        self.standing.end(tick_ms, seen, out)

    # -- restart ---------------------------------------------------------------------------------

    def dump(self) -> dict[str, Any]:
        """The tank's state as plain JSON values; its probes have their own."""
        return {
            "standing": self.standing.dump(),
            "changes": self.changes,
            "calibrations": self.calibrations,
            "rates": {probe: rates.dump() for probe, rates in self.rates.items()},
            "heat": self.heat.dump() if self.heat else None,
        }

    def load(self, state: dict[str, Any]) -> None:
        """What `dump` gave. Raises KeyError, ValueError or TypeError on anything else."""
        self.standing.load(state["standing"])
        self.changes = state["changes"]
        self.calibrations = state["calibrations"]
        for probe, rates in self.rates.items():
            if probe in state["rates"]:
                rates.load(state["rates"][probe])
        if self.heat is not None and state["heat"] is not None:
            self.heat.load(state["heat"])
