"""A simulated tank: its heat and its water going on together, and what breaks in them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random
from typing import NamedTuple

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.window import Window
from roewatch_sim.carbonate import alkalinity_of
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.heat import HeatSpec, TankHeat
from roewatch_sim.probe import ProbeSpec, SimProbe
from roewatch_sim.water import Pouring, TankWater, WaterSpec

HEAT_AND_PH = (Quantity.TEMPERATURE, Quantity.PH)


@dataclass(frozen=True, slots=True, kw_only=True)
class TankSpec:
    """One tank as built. set_c ± half_band is where its thermostat switches.

    windows: what the tank is meant to stay within, for telling when the true water left it.
    probe_specs: probes that differ from the usual sort; the others are drawn by seed.
    tap_alkalinity, tap_conductivity: of the hard water that must not get in.
    """

    id: str
    heat: HeatSpec
    water: WaterSpec
    set_c: float
    half_band: float = 0.25
    quantities: tuple[Quantity, ...] = HEAT_AND_PH
    windows: Mapping[Quantity, Window] = field(default_factory=dict)
    probe_specs: Mapping[Quantity, ProbeSpec] = field(default_factory=dict)
    species: str = ""
    stage: Stage = Stage.HOLDING
    tap_alkalinity: float = 3.0
    tap_conductivity: float = 420.0


class Truth(NamedTuple):
    """What is really so in one tank. Temperatures °C, conductivity µS/cm at 25 °C.

    alkalinity: meq/L. co2: mmol/L. heater_on: it gives heat now. set_c: where its thermostat
    really stands. litres: water left, after evaporation.
    """

    at_ms: int
    celsius: float
    ph: float
    conductivity: float
    heater_on: bool
    set_c: float
    room_c: float
    alkalinity: float
    co2: float
    litres: float
    aerated: bool


class SimTank:
    """One tank as it goes on."""

    def __init__(self, spec: TankSpec, seed: str, at_ms: int) -> None:
        self.spec = spec
        self.id = spec.id
        random = Random(f"{seed}/{spec.id}")
        self.set_c = spec.set_c
        self.meant_ph = spec.water.ph
        self.heat = TankHeat(
            spec.heat,
            set_c=spec.set_c,
            half_band=spec.half_band,
            # tanks in step from the first minute would look like a room-wide event
            water_c=spec.set_c + random.uniform(-0.9, 0.9) * spec.half_band,
        )
        self.heat.thermostat_on = random.random() < 0.4
        self.water = TankWater(spec.water, spec.set_c, spec.heat.litres)
        self.probes = [
            SimProbe(
                spec.id,
                quantity,
                f"{seed}/{spec.id}/{quantity}",
                since_ms=at_ms,
                spec=spec.probe_specs.get(quantity),
            )
            for quantity in spec.quantities
        ]
        self.mains = True
        self.ailing: list[SimFault] = []
        self.celsius_before = self.heat.water_c
        self.ph = self.ph_before = self.water.ph(self.heat.water_c)

    def probe(self, quantity: Quantity) -> SimProbe:
        """Its probe of that quantity. Raises KeyError when it has none."""
        for probe in self.probes:
            if probe.quantity is quantity:
                return probe
        raise KeyError(f"tank {self.id} has no {quantity} probe")

    def advance(self, at_ms: int, span_s: float, room_c: float, *, light: bool) -> None:
        """Go on by `span_s` seconds, to `at_ms`."""
        heat, water = self.heat, self.water
        self.celsius_before, self.ph_before = heat.water_c, self.ph
        heat.advance(room_c, span_s)
        if water.pouring:
            heat.water_c = water.pour(at_ms, span_s, heat.water_c)
            if not water.pouring:
                self.settle()
        celsius = heat.water_c
        water.advance(celsius, span_s, light=light and self.mains)
        self.ph = water.ph(celsius)

    def begin(self, fault: SimFault, at_ms: int) -> None:
        """A fault of the tank (not of a probe) takes hold."""
        self.ailing.append(fault)
        poured = self._poured(fault, at_ms)
        if poured is not None:
            self.water.pouring.append(poured)
        self.settle()

    def end(self, fault: SimFault) -> None:
        """The fault is mended."""
        self.ailing.remove(fault)
        self.settle()

    def pour(self, pouring: Pouring) -> None:
        """Water or acid begins to go in."""
        self.water.pouring.append(pouring)
        self.settle()

    def settle(self) -> None:
        """Set everything as the mains, the keeper's hands and the faults in force leave it."""
        heat, water, spec = self.heat, self.water, self.spec
        heat.jam = None
        heat.watts, heat.half_band, heat.set_c = spec.heat.heater_watts, spec.half_band, self.set_c
        loss = spec.heat.loss_w_per_k
        water.aerated, water.crash_h, water.lidless = self.mains, None, 1.0
        for fault in self.ailing:
            match fault.kind:
                case FaultKind.HEATER_DEAD:
                    heat.jam = False
                case FaultKind.HEATER_STUCK_ON:
                    heat.jam = True
                case FaultKind.HEATER_WEAK:
                    heat.watts *= fault.strong(0.35)
                case FaultKind.THERMOSTAT_MOVED:
                    heat.set_c += fault.strong(1.5)
                case FaultKind.CYCLE_WIDE:
                    heat.half_band *= fault.strong(4.0)
                case FaultKind.LID_OPEN:
                    loss *= fault.strong(1.8)
                    water.lidless = 6.0  # an open 20 L loses 1.9 % a day against 0.3 covered
                case FaultKind.AERATION_STOP:
                    water.aerated = False
                case FaultKind.PH_CRASH:
                    water.crash_h = fault.strong(9.0)
                case _:
                    pass  # what is poured in works by itself
        if not self.mains or any(poured.unplugged for poured in water.pouring):
            heat.jam = False
        heat.change_loss(loss)

    def _poured(self, fault: SimFault, at_ms: int) -> Pouring | None:
        """What a fault pours in, if it is of that sort."""
        water, spec = self.water, self.spec
        until_ms = at_ms + fault.pouring_ms
        celsius = self.heat.water_c
        match fault.kind:
            case FaultKind.BAD_WATER_CHANGE:
                return Pouring(
                    at_ms=at_ms, until_ms=until_ms, share=0.45,
                    celsius=celsius + fault.strong(-8.0), alkalinity=spec.tap_alkalinity / 3,
                    conductivity=spec.tap_conductivity / 3, co2_uatm=2000,
                )  # fmt: skip
            case FaultKind.HARD_WATER:
                return Pouring(
                    at_ms=at_ms, until_ms=until_ms, share=0.3, celsius=celsius - 1,
                    alkalinity=fault.strong(spec.tap_alkalinity),
                    conductivity=spec.tap_conductivity, co2_uatm=3000,
                )  # fmt: skip
            case FaultKind.WATER_CHANGE:
                return self.like_itself(at_ms, until_ms, fault.strong(0.25), celsius - 1.5)
            case FaultKind.ACID_OVERDOSE:
                usual = max(water.alkalinity, 0.0) + 0.05
                return Pouring(at_ms=at_ms, until_ms=until_ms, acid_meq=fault.strong(usual))
            case _:
                return None

    def like_itself(self, at_ms: int, until_ms: int, share: float, celsius: float) -> Pouring:
        """A proper water change: prepared, aired water that matches what the tank should be."""
        spec = self.spec.water
        day, night = (self.water.rest_co2(self.set_c, light=light) for light in (True, False))
        rest = (day + night) / 2
        return Pouring(
            at_ms=at_ms, until_ms=until_ms, share=share, celsius=celsius,
            alkalinity=alkalinity_of(self.meant_ph, rest, self.set_c, self.water.gamma),
            conductivity=spec.conductivity, co2_uatm=spec.air_uatm, unplugged=True,
        )  # fmt: skip
