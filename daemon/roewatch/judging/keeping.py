"""A keeping: one tank, or the room's air, as the judge knows it, with probes and journal."""

from typing import Any

from roewatch.judging.acidity import Acidity
from roewatch.judging.bounds import Bounds, bounds_of, judge_bounds
from roewatch.judging.doubt import Doubt
from roewatch.judging.finding import Finding
from roewatch.judging.heat import Heat
from roewatch.judging.honesty import judge_honesty, judge_noise, judge_patchy
from roewatch.judging.jump import Jump
from roewatch.judging.limits import Limits
from roewatch.judging.neighbour import COMPARED, Neighbour
from roewatch.judging.pouring import OF_PROBE, OF_WATER, Pouring
from roewatch.judging.rate import Rates
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.witness import Witness
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import Tank

WATER_J_PER_LITRE_K = 4180.0  # as the trade notes round it
_FAR_MS = 1 << 62
_BY_POWER = (Quantity.TEMPERATURE, Quantity.PH, Quantity.OXYGEN)
_UNTRUE = frozenset({*OF_PROBE, Kind.PROBE_STUCK, Kind.PROBE_FAULT})


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
        self.acidity: Acidity | None = None
        self.jumps: dict[str, Jump] = {}
        self.pouring = Pouring(self.standing, limits, warm=None, sour=None, heat=None, acidity=None)
        self.neighbours: dict[str, Neighbour] = {}  # by the second probe's id
        self.doubt = Doubt.NONE
        self.changes: list[list[int]] = []  # [from, until] of logged water changes
        self._changed_ms = -1  # until when any of them explains the water
        self.calibrations: list[list[Any]] = []  # [from, until, quantity]
        self.changed = True

    def settle(self, tank: Tank | None, witnesses: list[Witness]) -> None:
        """Take over what the settings say; what was learned of the same probes stays."""
        if self.heat is not None and _built(tank) != _built(self.tank):
            self.heat.thermostat.forget_legs()
        self.tank = tank
        self.witnesses = witnesses
        self.bounds = {}
        rates, self.rates = self.rates, {}
        spoken: set[Quantity] = set()
        thermometer: Witness | None = None
        electrode: Witness | None = None
        for witness in witnesses:
            quantity = witness.quantity
            witness.spoken_as = witness.id if quantity in spoken else None
            if quantity is Quantity.TEMPERATURE and quantity not in spoken:
                thermometer = witness
            if quantity is Quantity.PH and quantity not in spoken:
                electrode = witness
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
        self._settle_acidity(tank, electrode)
        self._settle_neighbours(witnesses)
        if tank is not None:
            jumps = {
                w.id: self.jumps.get(w.id) or Jump(w, self.limits)
                for w in (thermometer, electrode)
                if w is not None
            }
            self.jumps = {
                w: jump if jump.witness in witnesses else Jump(jump.witness, self.limits)
                for w, jump in jumps.items()
            }
            self.pouring = Pouring(
                self.standing, self.limits, heat=self.heat, acidity=self.acidity,
                warm=self.jumps[thermometer.id] if thermometer else None,
                sour=self.jumps[electrode.id] if electrode else None,
            )  # fmt: skip
        self.changed = True

    def _settle_neighbours(self, witnesses: list[Witness]) -> None:
        """Whoever is the second to measure something is held against the first."""
        before, self.neighbours = self.neighbours, {}
        first: dict[Quantity, Witness] = {}
        for witness in witnesses if self.tank is not None else ():
            if witness.quantity not in COMPARED or witness.probe.derived:
                continue
            one = first.setdefault(witness.quantity, witness)
            if one is witness:
                continue
            new = Neighbour(one, witness, self.limits)
            kept = before.pop(witness.id, None)
            if kept is not None and kept.same(new):
                self.neighbours[witness.id] = kept
                continue
            self.neighbours[witness.id] = new
            if kept is not None:
                kept.part()
        for gone in before.values():
            gone.part()

    def _settle_acidity(self, tank: Tank | None, electrode: Witness | None) -> None:
        if tank is None or electrode is None:
            self.acidity = None
            return
        if self.acidity is None or self.acidity.witness is not electrode:
            self.acidity = Acidity(electrode, self.standing, self.limits)
        self.acidity.window = tank.windows.get(Quantity.PH)
        self.acidity.steady = tank.stage is not Stage.CONDITIONING

    def _settle_heat(self, tank: Tank | None, thermometer: Witness | None) -> None:
        if tank is None or thermometer is None or tank.heater_watts <= 0:
            self.heat = None
            return
        heat = self.heat
        if heat is None or heat.witness is not thermometer:
            heat = self.heat = Heat(tank, thermometer, self.standing, self.limits)
        heat.tank = tank
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
            self._set_changes([*self.changes, [entry.at_ms, until_ms]][-8:])
            if self.heat is not None:
                self.heat.quiet(entry.at_ms - self.limits.change_before_ms, until_ms)
            if self.acidity is not None:
                self.acidity.quiet(until_ms + self.limits.ph_change_ms)
            said = f"water change in the journal{f': {entry.detail}' if entry.detail else ''}"
            seen = Seen(kind=Kind.WATER_CHANGE, since_ms=entry.at_ms, message=said, explained=True)
            self.standing.see(entry.at_ms, seen, out)
        elif entry.deed is Deed.CALIBRATION:
            word = entry.detail.strip().lower()
            named = next((q for q in Quantity if q in word), Quantity.PH)
            self.calibrations.append([entry.at_ms, until_ms, named])
            if named is Quantity.PH and self.acidity is not None:
                self.acidity.quiet(until_ms + self.limits.calibration_after_ms, calibrated=True)
            del self.calibrations[:-8]

    def withdraw(self, entry: JournalEntry, at_ms: int, out: list[Finding]) -> None:
        """The keeper did not do that after all: from now on it explains nothing."""
        until_ms = entry.at_ms if entry.until_ms is None else entry.until_ms
        self.changed = True
        if entry.deed is Deed.WATER_CHANGE:
            self._set_changes([span for span in self.changes if span != [entry.at_ms, until_ms]])
            told = self.standing.told.get((Kind.WATER_CHANGE, None, None))
            if told is not None and told.since_ms == entry.at_ms:
                said = "withdrawn from the journal"
                seen = Seen(kind=Kind.WATER_CHANGE, since_ms=entry.at_ms, message=said)
                self.standing.end(at_ms, seen, out)
        elif entry.deed is Deed.CALIBRATION:
            self.calibrations = [c for c in self.calibrations if c[:2] != [entry.at_ms, until_ms]]
        # what something else asked to be left alone until later, stays alone
        if self.heat is not None and self.heat.quiet_until <= Heat.quiet_ms(until_ms):
            self.heat.quiet_until = max((Heat.quiet_ms(u) for _, u in self.changes), default=-1)
        if self.acidity is not None and self.acidity.quiet_until <= self._sour_until_ms(entry):
            self.acidity.quiet_until = max(
                [u + self.limits.ph_change_ms for _, u in self.changes]
                + [
                    u + self.limits.calibration_after_ms
                    for _, u, named in self.calibrations
                    if named == Quantity.PH
                ],
                default=-1,
            )

    def _sour_until_ms(self, entry: JournalEntry) -> int:
        """Until when an entry explains the pH; -1 for one that explains none."""
        until_ms = entry.at_ms if entry.until_ms is None else entry.until_ms
        if entry.deed is Deed.WATER_CHANGE:
            return until_ms + self.limits.ph_change_ms
        if entry.deed is Deed.CALIBRATION:
            return until_ms + self.limits.calibration_after_ms
        return -1

    def _set_changes(self, changes: list[list[int]]) -> None:
        self.changes = changes
        last_ms = max((until for _, until in changes), default=-_FAR_MS)
        self._changed_ms = last_ms + self.limits.change_after_ms

    def in_change(self, at_ms: int) -> bool:
        """Whether a logged water change explains the water at that moment."""
        if at_ms > self._changed_ms:
            return False
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
            heat.room_c, heat.doubt = room_c, together
        self.doubt = together
        fresh = []
        for witness in self.witnesses:
            if witness.news:
                fresh.append(witness.quantity)
            if witness.fresh:
                self._bucket(witness, out)
        self._compare(tick_ms, out)
        self._pour(tick_ms, fresh, room_c, out)
        told = self.standing.told
        for witness in self.witnesses:
            if witness.news:
                self._minute(witness, out)
            if told or witness.sick or witness.flat_ms >= witness.flat_suspect_ms:
                self._honesty(witness, out)
        if heat is not None and heat.witness.news:
            self._heat_minute(heat, out)
        if self.changes:
            self._change_over(tick_ms, out)
        busy = self._busy(tick_ms)
        for witness in self.witnesses:
            if witness.news or witness.fresh:
                self._calm(witness, busy=busy)
            witness.news = witness.fresh = witness.hot = False

    @property
    def unheated(self) -> Witness | None:
        """The only thermometer of a tank without a heater; None of any other tank."""
        found = [w for w in self.witnesses if w.quantity is Quantity.TEMPERATURE]
        alone = self.tank is not None and self.heat is None and len(found) == 1
        return found[0] if alone and not found[0].probe.derived else None

    def explained(self, tick_ms: int) -> bool:
        """Whether something is known to move its water, or did within the last hours."""
        return self._busy(tick_ms) or tick_ms <= self._changed_ms + 4 * HOUR_MS

    @property
    def jumping(self) -> bool:
        """Whether a jump is being looked at."""
        for jump in self.jumps.values():  # noqa: SIM110 -- a generator at every look at every tank
            if jump.since_ms >= 0:
                return True
        return False

    def _busy(self, tick_ms: int) -> bool:
        """Whether something needs every minute: a condition, a jump, the keeper's hands."""
        heat = self.heat
        return bool(
            self.standing.told
            or self.jumping
            or (heat is not None and (heat.low_since >= 0 or heat.high_since >= 0))
            or (self.changes and self.in_change(tick_ms))
            or (self.calibrations and self.in_calibration(Quantity.PH, tick_ms))
        )

    def _calm(self, witness: Witness, *, busy: bool) -> None:
        """Set between which values the next minutes need no look."""
        witness.calm_low, witness.calm_high = 1.0, 0.0
        if busy or witness.side or witness.out_since >= 0:
            return
        low, high = witness.guard_low, witness.guard_high
        bounds = self.bounds.get(witness.id)
        if bounds is not None:
            low = max(low, bounds.low)
            high = min(high, bounds.high)
        jump = self.jumps.get(witness.id)
        if jump is not None:
            reach = jump.reach()
            if reach is None:
                return
            low = max(low, reach[0])
            high = min(high, reach[1])
        # finite, because they are kept as JSON
        witness.calm_low, witness.calm_high = max(low, -1e9), min(high, 1e9)

    def _pour(
        self, tick_ms: int, fresh: list[Quantity], room_c: float | None, out: list[Finding]
    ) -> None:
        logged = bool(self.changes) and self.in_change(tick_ms)
        if self.calibrations and self.in_calibration(Quantity.PH, tick_ms):
            fresh = [quantity for quantity in fresh if quantity is not Quantity.PH]
            if self.pouring.sour is not None:
                self.pouring.sour.quiet_until = tick_ms
        self.pouring.minute(fresh=fresh, logged=logged, room_c=room_c, out=out)

    def _compare(self, tick_ms: int, out: list[Finding]) -> None:
        """Two probes of one quantity, while both are believed and nobody handles them."""
        for neighbour in self.neighbours.values():
            pair = (neighbour.first, neighbour.other)
            if not (pair[0].fresh or pair[1].fresh):
                continue
            at_ms = max(pair[0].f_at, pair[1].f_at)
            calm = all(self.believes(w) and not self._noisy(w) for w in pair)
            if not calm or self.in_calibration(pair[0].quantity, at_ms) or self.in_change(at_ms):
                neighbour.pause()
            else:
                neighbour.bucket(tick_ms, self.standing, out)

    def _heat_minute(self, heat: Heat, out: list[Finding]) -> None:
        """The heater is judged beyond its switch points, while the thermometer is believed."""
        urgent = heat.witness.hot or (self.standing.told and heat.troubled)
        if urgent and self.believes(heat.witness) and not self._noisy(heat.witness):
            heat.minute(out)
        else:
            heat.calm()

    def _honesty(self, witness: Witness, out: list[Finding]) -> None:
        heat = self.heat
        should_move = heat is not None and heat.witness is witness and heat.cycle.known
        witness.sick = False
        key = (Kind.PROBE_STUCK, witness.quantity, witness.id)
        stuck = key in self.standing.told
        judge_honesty(witness, self.standing, should_move=should_move, out=out)
        if stuck and key not in self.standing.told and witness.id in self.jumps:
            self.jumps[witness.id].forget(15 * MINUTE_MS)

    def believes(self, witness: Witness) -> bool:
        """Whether what the probe says now is said of this tank's water."""
        jump = self.jumps.get(witness.id)
        if jump is not None and jump.since_ms >= 0 and not jump.named:
            return False
        quantity, probe = witness.quantity, witness.id
        for kind, of, who in self.standing.told:
            if who == probe and of is quantity and kind in _UNTRUE:
                return False
        return True

    def _noisy(self, witness: Witness) -> bool:
        buckets = witness.buckets
        floor = 0.08 if witness.quantity is Quantity.TEMPERATURE else 0.03
        return bool(buckets) and buckets[-1].jitter > 2.5 * max(witness.norm, floor)

    def _minute(self, witness: Witness, out: list[Finding]) -> None:
        bounds = self.bounds.get(witness.id)
        if bounds is None:
            return
        quantity = witness.quantity
        jump = self.jumps.get(witness.id)
        doubtful = jump is not None and jump.open
        if not doubtful and not self.believes(witness):
            witness.out_since = -1
            return
        if self.calibrations and self.in_calibration(quantity, witness.f_at):
            return
        margin = self._margin(quantity, witness.f_at)
        # the power cut lists every tank and the time it has left; it is not told tank by tank
        doubtful = doubtful or (self.doubt is Doubt.CUT and quantity in _BY_POWER)
        judge_bounds(witness, bounds, self.standing, out, margin=margin, doubtful=doubtful)

    def _bucket(self, witness: Witness, out: list[Finding]) -> None:
        bucket = witness.buckets[-1]
        quantity = witness.quantity
        if not witness.probe.derived:  # it is as patchy as its inputs
            judge_patchy(witness, self.standing, out)
        calibrating = bool(self.calibrations) and self.in_calibration(quantity, bucket.end_ms)
        if not calibrating:
            judge_noise(witness, self.standing, out)
        believed = not calibrating and self.believes(witness)
        heat, acidity = self.heat, self.acidity
        if acidity is not None and acidity.witness is witness:
            held = witness.flat_ms > max(HOUR_MS, 2 * witness.longest_ms)  # perhaps stuck
            if self.standing.told and self.standing.any_of(*OF_WATER):
                acidity.quiet(bucket.end_ms + self.limits.ph_pour_ms)
            if self.doubt is Doubt.CUT:
                acidity.quiet(bucket.end_ms + 6 * HOUR_MS)  # no air stone runs either
            clear = believed and not held and not self._noisy(witness)
            acidity.bucket(bucket.end_ms, bucket.value, believed=clear, out=out)
        if not believed:
            return
        if heat is not None and heat.witness is witness and not self._noisy(witness):
            heat.bucket(bucket.end_ms, bucket.value, out)
            self.jumps[witness.id].usual_per_h = max(
                heat.cycle.rise, heat.cycle.fall, self._nominal()
            )
        rates = self.rates.get(witness.id)
        if rates is not None:
            if heat is not None and heat.witness is witness:
                rates.swing = heat.cycle.swing
            if not self.changes or not self.in_change(bucket.end_ms):
                rates.bucket(bucket.end_ms, bucket.value, self.standing, out)

    def _nominal(self) -> float:
        """What the heater can do by its label before the cycle is known, °C/h."""
        tank, heat = self.tank, self.heat
        if tank is None or heat is None or heat.cycle.known:
            return 0.0
        return tank.heater_watts * 3600 / (tank.litres * WATER_J_PER_LITRE_K)

    def _change_over(self, tick_ms: int, out: list[Finding]) -> None:
        since_ms, until_ms = self.changes[-1]
        told = self.standing.holds(Kind.WATER_CHANGE)
        if not told or tick_ms <= until_ms + self.limits.change_after_ms:
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
            "built": _built(self.tank),
            "acidity": self.acidity.dump() if self.acidity else None,
            "jumps": {probe: jump.dump() for probe, jump in self.jumps.items()},
            "neighbours": {probe: pair.dump() for probe, pair in self.neighbours.items()},
        }

    def load(self, state: dict[str, Any]) -> None:
        """What `dump` gave. Raises KeyError, ValueError or TypeError on anything else."""
        self.standing.load(state["standing"])
        self._set_changes(state["changes"])
        self.calibrations = state["calibrations"]
        for probe, rates in self.rates.items():
            if probe in state["rates"]:
                rates.load(state["rates"][probe])
        for probe, jump in self.jumps.items():
            if probe in state["jumps"]:
                jump.load(state["jumps"][probe])
        for probe, neighbour in self.neighbours.items():
            if probe in state.get("neighbours", ()):  # nobody compared them before
                neighbour.load(state["neighbours"][probe])
        if self.acidity is not None and state["acidity"] is not None:
            self.acidity.load(state["acidity"])
        if self.heat is not None and state["heat"] is not None:
            self.heat.load(state["heat"])
            if state.get("built") not in (None, _built(self.tank)):
                self.heat.thermostat.forget_legs()


def _built(tank: Tank | None) -> list[Any] | None:
    """What of a tank decides how fast it cools and warms."""
    return None if tank is None else [tank.litres, tank.heater_watts, tank.covered]
