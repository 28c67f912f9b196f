"""A tank's water: alkalinity, carbon dioxide, dissolved salts, and what is poured into it."""

from dataclasses import dataclass
from math import exp

from roewatch_sim.carbonate import activity, alkalinity_of, dissolved_co2, ph_of

ACIDITY_FLOOR = -0.03
"""meq/L a crash ends at: nitrification stops when the water turns sour (about pH 4.5)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pouring:
    """Water or acid that goes in from `at_ms` to `until_ms`.

    share: of the tank's water replaced, 0 to 1. celsius, alkalinity (meq/L), conductivity
    (µS/cm at 25 °C), co2_uatm: of the new water. acid_meq: strong acid added, meq per litre of
    tank. unplugged: the keeper has pulled the heater's plug meanwhile.
    """

    at_ms: int
    until_ms: int
    share: float = 0.0
    celsius: float = 25.0
    alkalinity: float = 0.0
    conductivity: float = 0.0
    co2_uatm: float = 800.0
    acid_meq: float = 0.0
    unplugged: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.share < 1 or self.until_ms <= self.at_ms:
            raise ValueError("a water change replaces a share of 0 to below 1, and takes time")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterSpec:
    """The chemistry a tank starts with and lives by.

    ph: at rest. conductivity: µS/cm at 25 °C. air_uatm: CO2 of the room. breath_mmol_h: CO2 that
    fish and filter give, mmol/L an hour; plants_mmol_h: what plants take by light. exchange_h:
    hours in which an excess of CO2 falls to 1/e, with the air stone; still_h: without.
    eaten_per_day: share of the alkalinity that nitrification uses
    (it slows as the buffer goes). vapour_share_day: water lost, lid on.
    """

    ph: float
    conductivity: float = 60.0
    air_uatm: float = 800.0
    breath_mmol_h: float = 0.002
    plants_mmol_h: float = 0.0028
    exchange_h: float = 1.5
    still_h: float = 14.0
    eaten_per_day: float = 0.008
    vapour_share_day: float = 0.003


class TankWater:
    """The chemistry of one tank as it goes on. alkalinity meq/L, co2 mmol/L."""

    def __init__(self, spec: WaterSpec, celsius: float, litres: float) -> None:
        self.spec = spec
        self.litres = self._full = litres
        self.conductivity = spec.conductivity
        self.co2 = dissolved_co2(celsius, spec.air_uatm) + spec.breath_mmol_h * spec.exchange_h / 2
        self.alkalinity = alkalinity_of(spec.ph, self.co2, celsius)
        self.gamma = 1.0
        self.aerated = True
        self.lidless = 1.0  # times the usual evaporation
        self.crash_h: float | None = None
        self._span_s = 0.0
        self._relax = (0.0, 0.0)
        self.pouring: list[Pouring] = []
        self.know_ions()
        self.alkalinity = alkalinity_of(spec.ph, self.co2, celsius, self.gamma)

    def know_ions(self) -> None:
        """Renew what depends on the salts; they change slowly, so not at every step."""
        # Griffin and Jurinak 1973, Soil Science 116:26: I = 0.013 EC, mol/L from mS/cm
        self.gamma = activity(0.013 * self.conductivity)

    def rest_co2(self, celsius: float, *, light: bool) -> float:
        """CO2 the water tends to, mmol/L, with everything as it is."""
        spec = self.spec
        gain = spec.breath_mmol_h - (spec.plants_mmol_h if light else 0.0)
        hours = spec.exchange_h if self.aerated else spec.still_h
        return max(dissolved_co2(celsius, spec.air_uatm) + gain * hours, 1e-4)

    def advance(self, celsius: float, span_s: float, *, light: bool) -> None:
        """Go on by `span_s` seconds at that temperature. Pouring is done by `pour`."""
        if span_s != self._span_s:
            self._span_s = span_s
            spec = self.spec
            self._relax = (
                exp(-span_s / 3600 / spec.exchange_h),
                exp(-span_s / 3600 / spec.still_h),
            )
        keep = self._relax[0] if self.aerated else self._relax[1]
        rest = self.rest_co2(celsius, light=light)
        self.co2 = rest + keep * (self.co2 - rest)
        if self.crash_h is not None:
            eaten = exp(-span_s / 3600 / self.crash_h)
            self.alkalinity = ACIDITY_FLOOR + eaten * (self.alkalinity - ACIDITY_FLOOR)

    def age(self, hours: float) -> None:
        """What happens slowly: evaporation thickens, nitrification eats alkalinity."""
        spec = self.spec
        lost = min(spec.vapour_share_day * self.lidless * hours / 24, 0.5)
        self.litres *= 1 - lost
        self.conductivity /= 1 - lost
        eaten = spec.eaten_per_day * hours / 24 * max(self.alkalinity, 0.0)
        self.alkalinity = self.alkalinity / (1 - lost) - eaten
        self.know_ions()

    def pour(self, at_ms: int, span_s: float, celsius: float) -> float:
        """Take in what is being poured during the step that ends at `at_ms`; the new °C."""
        for what in self.pouring:
            start_ms = at_ms - round(span_s * 1000)
            overlap = min(at_ms, what.until_ms) - max(start_ms, what.at_ms)
            if overlap <= 0:
                continue
            part = overlap / (what.until_ms - what.at_ms)
            self.alkalinity -= what.acid_meq * part
            # bicarbonate the acid meets becomes CO2; what is left over is free acid
            self.co2 += min(what.acid_meq * part, max(self.alkalinity + what.acid_meq * part, 0.0))
            if what.share:
                celsius = self._mix(what, 1 - (1 - what.share) ** part, celsius)
        self.pouring = [what for what in self.pouring if what.until_ms > at_ms]
        return celsius

    def _mix(self, what: Pouring, share: float, celsius: float) -> float:
        self.litres = self._full  # the keeper fills up to the mark
        # alkalinity, dissolved CO2, salts and heat mix by volume; pH does not, it follows.
        self.alkalinity += share * (what.alkalinity - self.alkalinity)
        self.conductivity += share * (what.conductivity - self.conductivity)
        self.co2 += share * (dissolved_co2(what.celsius, what.co2_uatm) - self.co2)
        self.know_ions()
        return celsius + share * (what.celsius - celsius)

    def ph(self, celsius: float) -> float:
        """The water's own pH now."""
        return ph_of(self.alkalinity, self.co2, celsius, self.gamma)
