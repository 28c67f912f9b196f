"""A post: one probe at its place in a tank, and what is judged of it there by the minute."""

from typing import TYPE_CHECKING, Final

from roewatch.judging.acidity import Acidity
from roewatch.judging.bounds import Bounds, judge_bounds
from roewatch.judging.doubt import Doubt
from roewatch.judging.finding import Finding
from roewatch.judging.heat import Heat
from roewatch.judging.honesty import judge_honesty, judge_noise, judge_patchy
from roewatch.judging.jump import Jump
from roewatch.judging.pouring import OF_PROBE, OF_WATER
from roewatch.judging.rate import Rates
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity

if TYPE_CHECKING:
    from roewatch.judging.keeping import Keeping

_BY_POWER: Final = (Quantity.TEMPERATURE, Quantity.PH, Quantity.OXYGEN)
_UNTRUE: Final = frozenset({*OF_PROBE, Kind.PROBE_STUCK, Kind.PROBE_FAULT})
_NOISE_CELSIUS: Final = 0.08  # what is no noise in any probe
_NOISE: Final = 0.03


class Post:
    """One probe. bounds, rates, jump, heat, acidity: None where it is not held against them.

    heat and acidity are those of the tank if this is the probe they go by.
    """

    __slots__ = (
        "acidity", "bounds", "hands", "heat", "jump", "keeping", "quantity", "rates", "standing",
        "witness",
    )  # fmt: skip

    def __init__(self, keeping: "Keeping", witness: Witness) -> None:
        self.keeping, self.witness = keeping, witness
        self.quantity = witness.quantity
        self.standing, self.hands = keeping.standing, keeping.hands
        self.bounds: Bounds | None = None
        self.rates: Rates | None = None
        self.jump: Jump | None = None
        self.heat: Heat | None = None
        self.acidity: Acidity | None = None

    def believes(self) -> bool:
        """Whether what the probe says now is said of this tank's water."""
        jump = self.jump
        if jump is not None and jump.since_ms >= 0 and not jump.named:
            return False
        if not self.standing.told:
            return True
        quantity, probe = self.quantity, self.witness.id
        for kind, of, who in self.standing.told:
            if who == probe and of is quantity and kind in _UNTRUE:
                return False
        return True

    def noisy(self) -> bool:
        """Whether its last five minutes went to and fro far more than usual."""
        buckets = self.witness.buckets
        if not buckets:
            return False
        floor = _NOISE_CELSIUS if self.quantity is Quantity.TEMPERATURE else _NOISE
        return buckets[-1].jitter > 2.5 * max(self.witness.norm, floor)

    # -- every five minutes ----------------------------------------------------------------------

    def bucket(self, out: list[Finding]) -> None:
        """Five more minutes of the probe."""
        witness, standing, hands = self.witness, self.standing, self.hands
        bucket = witness.buckets[-1]
        at_ms, value = bucket.end_ms, bucket.value
        if not witness.complete or standing.told:
            judge_patchy(witness, standing, out)
        calibrating = bool(hands.calibrations) and hands.in_calibration(self.quantity, at_ms)
        if not calibrating:
            judge_noise(witness, standing, out)
        believed = not calibrating and self.believes()
        if self.acidity is not None:
            self._sour(self.acidity, at_ms, value, believed=believed, out=out)
        if not believed:
            return
        heat, rates = self.heat, self.rates
        if heat is not None and not self.noisy():
            heat.bucket(at_ms, value, out)
            if self.jump is not None:
                cycle = heat.cycle
                self.jump.usual_per_h = max(cycle.rise, cycle.fall, self.keeping.nominal_per_h())
        if rates is not None:
            if heat is not None:
                rates.swing = heat.cycle.swing
            if not hands.changes or not hands.in_change(at_ms):
                rates.bucket(at_ms, value, standing, out)

    def _sour(
        self, acidity: Acidity, at_ms: int, value: float, *, believed: bool, out: list[Finding]
    ) -> None:
        witness, limits = self.witness, self.keeping.limits
        held = witness.flat_ms > max(HOUR_MS, 2 * witness.longest_ms)  # perhaps stuck
        if self.standing.told and self.standing.any_of(*OF_WATER):
            acidity.quiet(at_ms + limits.ph_pour_ms)
        if self.keeping.doubt is Doubt.CUT:
            acidity.quiet(at_ms + 6 * HOUR_MS)  # no air stone runs either
        clear = believed and not held and not self.noisy()
        acidity.bucket(at_ms, value, believed=clear, out=out)

    # -- every minute that needs a look ----------------------------------------------------------

    def minute(self, out: list[Finding]) -> None:
        """One more minute against the window."""
        bounds, witness = self.bounds, self.witness
        if bounds is None:
            return
        doubtful = self.jump is not None and self.jump.open
        if not doubtful and not self.believes():
            witness.out_since = -1
            return
        hands = self.hands
        if hands.calibrations and hands.in_calibration(self.quantity, witness.f_at):
            return
        margin = hands.margin(self.quantity, witness.f_at)
        # the power cut lists every tank and the time it has left; it is not told tank by tank
        doubtful = doubtful or (self.keeping.doubt is Doubt.CUT and self.quantity in _BY_POWER)
        judge_bounds(witness, bounds, self.standing, out, margin=margin, doubtful=doubtful)

    def honesty(self, out: list[Finding]) -> None:
        """What its own readings say of the probe itself."""
        witness, heat, told = self.witness, self.heat, self.standing.told
        should_move = heat is not None and heat.cycle.known
        witness.sick = False
        key = (Kind.PROBE_STUCK, self.quantity, witness.id)
        stuck = key in told
        judge_honesty(witness, self.standing, should_move=should_move, out=out)
        if stuck and key not in told and self.jump is not None:
            self.jump.forget(15 * MINUTE_MS)

    def calm(self, *, busy: bool) -> None:
        """Set between which values the next minutes need no look."""
        witness = self.witness
        witness.calm_low, witness.calm_high = 1.0, 0.0
        if busy or witness.side or witness.out_since >= 0:
            return
        low, high = -1e9, 1e9  # finite, because they are kept as JSON
        bounds, jump = self.bounds, self.jump
        if bounds is not None:
            low, high = bounds.low, bounds.high
        if jump is not None:
            reach = jump.reach()
            if reach is None:
                return
            low, high = max(low, reach[0]), min(high, reach[1])
        witness.calm_low = max(low, witness.guard_low, -1e9)
        witness.calm_high = min(high, witness.guard_high, 1e9)
