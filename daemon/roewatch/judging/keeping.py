"""A keeping: one tank, or the room's air, as the judge knows it, with probes and journal."""

from typing import Any, Final

from roewatch.judging.acidity import Acidity
from roewatch.judging.bounds import bounds_of
from roewatch.judging.doubt import Doubt
from roewatch.judging.finding import Finding
from roewatch.judging.hands import Hands
from roewatch.judging.heat import Heat
from roewatch.judging.jump import Jump
from roewatch.judging.limits import Limits
from roewatch.judging.neighbour import COMPARED, Neighbour
from roewatch.judging.post import Post
from roewatch.judging.pouring import Pouring
from roewatch.judging.rate import Rates
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.witness import Witness
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import FAR_MS, HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import Tank

WATER_J_PER_LITRE_K: Final = 4180.0  # as the trade notes round it


class Keeping:
    """One tank's judging. tank: None for the room's own probes."""

    def __init__(self, tank_id: str, limits: Limits) -> None:
        self.id = tank_id
        self.limits = limits
        self.tank: Tank | None = None
        self.standing = Standing(tank_id, limits.retell_ms)
        self.witnesses: list[Witness] = []
        self.hands = Hands(limits)
        self.posts: list[Post] = []
        self.rates: dict[str, Rates] = {}
        self.heat: Heat | None = None
        self.acidity: Acidity | None = None
        self.jumps: dict[str, Jump] = {}
        self.pouring = Pouring(self.standing, limits, warm=None, sour=None, heat=None, acidity=None)
        self.neighbours: dict[str, Neighbour] = {}  # by the second probe's id
        self.doubt = Doubt.NONE
        self.changed = True

    def settle(self, tank: Tank | None, witnesses: list[Witness]) -> None:
        """Take over what the settings say; what was learned of the same probes stays."""
        if self.heat is not None and _built(tank) != _built(self.tank):
            self.heat.thermostat.forget_legs()
        self.tank = tank
        self.witnesses = witnesses
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
        self.posts = [self._post(witness) for witness in witnesses]
        self.changed = True

    def _post(self, witness: Witness) -> Post:
        """What is judged of one probe; nothing is put out of its bounds in the room's air."""
        post = Post(self, witness)
        post.rates = self.rates.get(witness.id)
        post.jump = self.jumps.get(witness.id)
        window = None if self.tank is None else self.tank.windows.get(witness.quantity)
        if window is not None:
            post.bounds = bounds_of(window, witness.quantity, self.limits)
        if self.heat is not None and self.heat.witness is witness:
            post.heat = self.heat
        if self.acidity is not None and self.acidity.witness is witness:
            post.acidity = self.acidity
        return post

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
            self.hands.change(entry.at_ms, until_ms)
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
            self.hands.calibrate(entry.at_ms, until_ms, named)
            if named is Quantity.PH and self.acidity is not None:
                self.acidity.quiet(until_ms + self.limits.calibration_after_ms, calibrated=True)

    def withdraw(self, entry: JournalEntry, at_ms: int, out: list[Finding]) -> None:
        """The keeper did not do that after all: from now on it explains nothing."""
        until_ms = entry.at_ms if entry.until_ms is None else entry.until_ms
        self.changed = True
        self.hands.forget(entry, until_ms)
        if entry.deed is Deed.WATER_CHANGE:
            told = self.standing.told.get((Kind.WATER_CHANGE, None, None))
            if told is not None and told.since_ms == entry.at_ms:
                said = "withdrawn from the journal"
                seen = Seen(kind=Kind.WATER_CHANGE, since_ms=entry.at_ms, message=said)
                self.standing.end(at_ms, seen, out)
        changes, calibrations = self.hands.changes, self.hands.calibrations
        # what something else asked to be left alone until later, stays alone
        if self.heat is not None and self.heat.quiet_until <= Heat.quiet_ms(until_ms):
            self.heat.quiet_until = max((Heat.quiet_ms(u) for _, u in changes), default=-1)
        if self.acidity is not None and self.acidity.quiet_until <= self._sour_until_ms(entry):
            self.acidity.quiet_until = max(
                [u + self.limits.ph_change_ms for _, u in changes]
                + [
                    u + self.limits.calibration_after_ms
                    for _, u, named in calibrations
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

    # -- every tick ------------------------------------------------------------------------------

    def fold(self, tick_ms: int) -> bool:
        """Take in the minutes of those that are due; whether the tank needs a closer look."""
        awake = False
        for witness in self.witnesses:
            if witness.due_ms <= tick_ms and witness.fold(tick_ms):
                awake = True
        return awake

    def rest(self, tick_ms: int, *, judged: bool) -> bool:
        """Let rest whoever is calm, until something wakes it; whether all of them do.

        judged: the tank has just been, so what is calm may be something else than before.
        """
        resting = True
        for witness in self.witnesses:
            if judged or witness.due_ms <= tick_ms:
                witness.due_ms = witness.next_due()
            if witness.due_ms != FAR_MS:
                resting = False
        return resting

    def judge(
        self, tick_ms: int, *, together: Doubt, room_c: float | None, out: list[Finding]
    ) -> None:
        """All that can be told of this tank alone, from minutes closed at or before the tick."""
        self.changed = True
        for witness in self.witnesses:
            witness.fold(tick_ms)
        heat = self.heat
        if heat is not None:
            heat.room_c, heat.doubt = room_c, together
        self.doubt = together
        news = []
        for post in self.posts:
            if post.witness.news:
                news.append(post.quantity)
            if post.witness.fresh:
                post.bucket(out)
        if self.neighbours:
            self._compare(tick_ms, out)
        if news or self.hands.calibrations or self.jumping:
            self._pour(tick_ms, news, room_c, out)
        self._minutes(out)
        if self.hands.changes:
            self._change_over(tick_ms, out)
        busy = self._busy(tick_ms)
        for post in self.posts:
            witness = post.witness
            if witness.news or witness.fresh:
                post.calm(busy=busy)
            witness.news = witness.fresh = witness.hot = False

    def _minutes(self, out: list[Finding]) -> None:
        """Each probe against its window and against itself; and the heater."""
        told = self.standing.told
        for post in self.posts:
            witness = post.witness
            if witness.news:
                post.minute(out)
            if told or witness.sick or witness.flat_ms >= witness.flat_suspect_ms:
                post.honesty(out)
        if self.heat is not None and self.heat.witness.news:
            self._heat_minute(self.heat, out)

    @property
    def unheated(self) -> Witness | None:
        """The only thermometer of a tank without a heater; None of any other tank."""
        found = [w for w in self.witnesses if w.quantity is Quantity.TEMPERATURE]
        alone = self.tank is not None and self.heat is None and len(found) == 1
        return found[0] if alone and not found[0].probe.derived else None

    def explained(self, tick_ms: int) -> bool:
        """Whether something is known to move its water, or did within the last hours."""
        return self._busy(tick_ms) or tick_ms <= self.hands.explained_ms + 4 * HOUR_MS

    @property
    def jumping(self) -> bool:
        """Whether a jump is being looked at."""
        for jump in self.jumps.values():  # noqa: SIM110 -- a generator at every look at every tank
            if jump.since_ms >= 0:
                return True
        return False

    def _busy(self, tick_ms: int) -> bool:
        """Whether something needs every minute: a condition, a jump, the keeper's hands."""
        heat, hands = self.heat, self.hands
        return bool(
            self.standing.told
            or self.jumping
            or (heat is not None and (heat.low_since >= 0 or heat.high_since >= 0))
            or (hands.changes and hands.in_change(tick_ms))
            or (hands.calibrations and hands.in_calibration(Quantity.PH, tick_ms))
        )

    def _pour(
        self, tick_ms: int, fresh: list[Quantity], room_c: float | None, out: list[Finding]
    ) -> None:
        hands = self.hands
        logged = bool(hands.changes) and hands.in_change(tick_ms)
        if hands.calibrations and hands.in_calibration(Quantity.PH, tick_ms):
            fresh = [quantity for quantity in fresh if quantity is not Quantity.PH]
            if self.pouring.sour is not None:
                self.pouring.sour.quiet_until = tick_ms
        self.pouring.minute(fresh=fresh, logged=logged, room_c=room_c, out=out)

    def _compare(self, tick_ms: int, out: list[Finding]) -> None:
        """Two probes of one quantity, while both are believed and nobody handles them."""
        hands = self.hands
        for neighbour in self.neighbours.values():
            pair = (neighbour.first, neighbour.other)
            if not (pair[0].fresh or pair[1].fresh):
                continue
            at_ms = max(pair[0].f_at, pair[1].f_at)
            calm = all(p.believes() and not p.noisy() for p in self.posts if p.witness in pair)
            if not calm or hands.in_calibration(pair[0].quantity, at_ms) or hands.in_change(at_ms):
                neighbour.pause()
            else:
                neighbour.bucket(tick_ms, self.standing, out)

    def _heat_minute(self, heat: Heat, out: list[Finding]) -> None:
        """The heater is judged beyond its switch points, while the thermometer is believed."""
        urgent = heat.witness.hot or (self.standing.told and heat.troubled)
        post = self._of(heat.witness)
        if urgent and post.believes() and not post.noisy():
            heat.minute(out)
        else:
            heat.calm()

    def _of(self, witness: Witness) -> Post:
        return next(post for post in self.posts if post.witness is witness)

    def nominal_per_h(self) -> float:
        """What the heater can do by its label before the cycle is known, °C/h."""
        tank, heat = self.tank, self.heat
        if tank is None or heat is None or heat.cycle.known:
            return 0.0
        return tank.heater_watts * 3600 / (tank.litres * WATER_J_PER_LITRE_K)

    def _change_over(self, tick_ms: int, out: list[Finding]) -> None:
        since_ms, until_ms = self.hands.changes[-1]
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
            "changes": self.hands.changes,
            "calibrations": self.hands.calibrations,
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
        self.hands.set_changes(state["changes"])
        self.hands.calibrations = state["calibrations"]
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
