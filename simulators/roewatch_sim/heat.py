"""A tank's heat: water, the glass and substrate that lag behind it, a heater and its thermostat.

    Cw dW/dt = P u - UA (W - room) - k (W - G)          Cg dG/dt = k (W - G)

W water, G glass and substrate, u heater on. Between two switchings this is linear, so a step of
any length is one exact matrix product; only the step in which the thermostat switches is cut.
"""

from dataclasses import dataclass
from math import cosh, exp, sinh, sqrt

WATER_J_PER_LITRE_K = 4180.0
"""Heat capacity of water, J/(L K), rounded as shared trade notes do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSpec:
    """What the heat of one tank is made of.

    loss_w_per_k: UA, lid on. glass_share: heat capacity of glass and substrate over that of the
    water, 0 for none. glass_lag_s: how long the glass lags behind the water.
    """

    litres: float
    heater_watts: float
    loss_w_per_k: float
    glass_share: float = 0.18
    glass_lag_s: float = 2400.0

    def __post_init__(self) -> None:
        if min(self.litres, self.loss_w_per_k) <= 0 or self.heater_watts < 0:
            raise ValueError("a tank needs litres and loss above zero, and watts of zero or more")

    @property
    def water_j_per_k(self) -> float:
        return self.litres * WATER_J_PER_LITRE_K

    @property
    def time_constant_h(self) -> float:
        """Heat capacity of all there is over the loss, hours."""
        return self.water_j_per_k * (1 + self.glass_share) / self.loss_w_per_k / 3600


Matrix = tuple[float, float, float, float]


def propagator(spec: HeatSpec, loss_w_per_k: float, span_s: float) -> Matrix:
    """exp(A t) of the two nodes: how a deviation (water, glass) from rest looks after `span_s`."""
    store = spec.water_j_per_k
    if spec.glass_share <= 0:
        decay = exp(-loss_w_per_k * span_s / store)
        return (decay, 0.0, decay, 0.0)  # the glass is wherever the water is
    to_water = 1 / spec.glass_lag_s
    to_glass = spec.glass_share / spec.glass_lag_s
    a, b, c, d = -loss_w_per_k / store - to_glass, to_glass, to_water, -to_water
    mean = (a + d) / 2
    spread = sqrt(((a - d) / 2) ** 2 + b * c)  # real: both couplings are positive
    even = exp(mean * span_s) * cosh(spread * span_s)
    odd = exp(mean * span_s) * sinh(spread * span_s) / spread
    return (even + odd * (a - mean), odd * b, odd * c, even + odd * (d - mean))


class TankHeat:
    """The heat of one tank as it goes on. Temperatures in °C.

    jam: None is a thermostat at work, True a heater that cannot switch off, False one without
    power or dead. The thermostat switches at set_c ± half_band.
    """

    def __init__(self, spec: HeatSpec, *, set_c: float, half_band: float, water_c: float) -> None:
        self.spec = spec
        self.water_c = self.glass_c = water_c
        self.set_c, self.half_band = set_c, half_band
        self.jam: bool | None = None
        self.thermostat_on = False
        self.watts = spec.heater_watts
        self.loss_w_per_k = spec.loss_w_per_k
        self._span_s = 0.0
        self._step: Matrix = (1.0, 0.0, 0.0, 1.0)

    @property
    def heating(self) -> bool:
        """Whether the heater gives heat now."""
        return self.thermostat_on if self.jam is None else self.jam

    def change_loss(self, loss_w_per_k: float) -> None:
        """A lid taken off or put on."""
        if loss_w_per_k != self.loss_w_per_k:
            self.loss_w_per_k = loss_w_per_k
            self._span_s = 0.0  # the prepared step is for another loss

    def advance(self, room_c: float, span_s: float) -> None:
        """Go on by `span_s` seconds in a room of `room_c`."""
        if span_s != self._span_s:
            self._step = propagator(self.spec, self.loss_w_per_k, span_s)
            self._span_s = span_s
        self._switch()
        before_w, before_g = self.water_c, self.glass_c
        self._apply(self._step, room_c)
        crossed = self._crossed()
        if crossed is not None and self.jam is None and before_w != self.water_c:
            share = (crossed - before_w) / (self.water_c - before_w)
            self.water_c, self.glass_c = before_w, before_g
            self._part(room_c, span_s * share)
            self.thermostat_on = not self.thermostat_on
            self._part(room_c, span_s * (1 - share))

    def _part(self, room_c: float, span_s: float) -> None:
        self._apply(propagator(self.spec, self.loss_w_per_k, span_s), room_c)

    def _apply(self, step: Matrix, room_c: float) -> None:
        on = self.thermostat_on if self.jam is None else self.jam
        rest = room_c + (self.watts / self.loss_w_per_k if on else 0.0)
        water, glass = self.water_c - rest, self.glass_c - rest
        self.water_c = rest + step[0] * water + step[1] * glass
        self.glass_c = rest + step[2] * water + step[3] * glass

    def _crossed(self) -> float | None:
        if self.thermostat_on:
            off_at = self.set_c + self.half_band
            return off_at if self.water_c > off_at else None
        on_at = self.set_c - self.half_band
        return on_at if self.water_c < on_at else None

    def _switch(self) -> None:
        # colder water poured in, or a turned knob, can be past the switch point already
        if self._crossed() is not None:
            self.thermostat_on = not self.thermostat_on
