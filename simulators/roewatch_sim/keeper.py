"""The keeper's chores in a simulated room: water changes, doses, the knob, calibrations."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.carbonate import alkalinity_of
from roewatch_sim.water import Pouring

if TYPE_CHECKING:
    from roewatch_sim.tank import SimTank


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterChange:
    """A share of the water replaced by water that suits, `cooler_k` below the tank."""

    at_ms: int
    tank: str
    share: float = 0.15
    cooler_k: float = 2.0
    minutes: float = 15.0
    logged: bool = True

    def do(self, tank: "SimTank", at_ms: int) -> JournalEntry | None:
        """Begin it; what the journal says, if it is logged."""
        until_ms = at_ms + round(self.minutes * MINUTE_MS)
        celsius = tank.heat.water_c - self.cooler_k
        tank.pour(tank.like_itself(at_ms, until_ms, self.share, celsius))
        if not self.logged:
            return None
        return JournalEntry(
            at_ms=at_ms, tank=tank.id, deed=Deed.WATER_CHANGE, until_ms=until_ms,
            detail=f"{self.share:.0%} changed",
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Lowering:
    """One day's step of a conditioning plan: the alkalinity that gives `ph`, and a warmer knob.

    by_dose: dilute acid dripped in over `dose_h`; else very soft water changed in. Acid all at
    once would throw the pH far down until its carbon dioxide has left.
    """

    at_ms: int
    tank: str
    ph: float
    set_c: float
    by_dose: bool
    dose_h: float = 14.0

    def do(self, tank: "SimTank", at_ms: int) -> JournalEntry | None:
        """Begin it; a dose is a note, a change of water is a water change."""
        tank.set_c, tank.meant_ph = self.set_c, self.ph
        water = tank.water
        day, night = (water.rest_co2(self.set_c, light=light) for light in (True, False))
        wanted = alkalinity_of(self.ph, (day + night) / 2, self.set_c, water.gamma)
        surplus = water.alkalinity - wanted
        if surplus <= 0:
            tank.settle()
            return None
        if self.by_dose:
            until_ms = at_ms + round(self.dose_h * HOUR_MS)
            tank.pour(Pouring(at_ms=at_ms, until_ms=until_ms, acid_meq=surplus))
            return JournalEntry(
                at_ms=at_ms, tank=tank.id, deed=Deed.NOTE, until_ms=until_ms,
                detail=f"dilute acid dripped in, {surplus:.3f} meq/L",
            )  # fmt: skip
        share = min(surplus / water.alkalinity, 0.35)
        until_ms = at_ms + 20 * MINUTE_MS
        tank.pour(
            Pouring(
                at_ms=at_ms, until_ms=until_ms, share=share, celsius=tank.heat.water_c - 0.8,
                conductivity=12.0, co2_uatm=water.spec.air_uatm, unplugged=True,
            )
        )  # fmt: skip
        return JournalEntry(
            at_ms=at_ms, tank=tank.id, deed=Deed.WATER_CHANGE, until_ms=until_ms,
            detail=f"{share:.0%} changed for rain water",
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStep:
    """One dated step of a plan made elsewhere: a share changed for prepared water, and the knob.

    alkalinity (meq/L), conductivity (µS/cm at 25 °C), co2_uatm: of the prepared water, which is
    brought to the tank's temperature before it is poured. set_c: where the thermostat is set then.
    """

    at_ms: int
    tank: str
    share: float
    alkalinity: float
    conductivity: float
    co2_uatm: float
    set_c: float
    minutes: float = 30.0

    def do(self, tank: "SimTank", at_ms: int) -> JournalEntry | None:
        """Begin it; a day of warming alone is no water change."""
        tank.set_c = self.set_c
        if self.share <= 0:
            tank.settle()
            return None
        until_ms = at_ms + round(self.minutes * MINUTE_MS)
        tank.pour(
            Pouring(
                at_ms=at_ms, until_ms=until_ms, share=self.share, celsius=tank.heat.water_c,
                alkalinity=self.alkalinity, conductivity=self.conductivity,
                co2_uatm=self.co2_uatm, unplugged=True,
            )
        )  # fmt: skip
        return JournalEntry(
            at_ms=at_ms, tank=tank.id, deed=Deed.WATER_CHANGE, until_ms=until_ms,
            detail=f"{self.share:.0%} changed by the plan",
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrating:
    """A probe set right after its buffers; the buffers themselves are a fault to be explained."""

    at_ms: int
    tank: str
    quantity: Quantity = Quantity.PH
    minutes: float = 20.0
    logged: bool = True

    def do(self, tank: "SimTank", at_ms: int) -> JournalEntry | None:
        """Set the probe right; what the journal says, if it is logged."""
        tank.probe(self.quantity).calibrate(at_ms)
        if not self.logged:
            return None
        until_ms = at_ms + round(self.minutes * MINUTE_MS)
        return JournalEntry(
            at_ms=at_ms, tank=tank.id, deed=Deed.CALIBRATION, until_ms=until_ms,
            detail=str(self.quantity),
        )  # fmt: skip


Chore = WaterChange | Lowering | PlannedStep | Calibrating
"""Anything the keeper does at a set moment."""
