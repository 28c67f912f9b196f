"""A tank: one body of water, where it stands and what lives in it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.window import RateLimit, Window

ROOM = "room"
"""The id under which a finding about the whole room is filed; no tank may take it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a tank physically stands. `place` counts along the shelf from the left, from 1."""

    rack: str = ""
    shelf: int = 1
    place: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """One tank as the settings describe it, with what its species and stage ask for.

    windows, rates: already resolved for the tank's stage, keeper's overrides applied.
    heater_watts: 0 when unheated. litres: water, not glass. portion: its daily food, for whoever
    stands in for the keeper.
    """

    id: str
    name: str = ""
    litres: float
    heater_watts: float = 0.0
    covered: bool = True
    place: Place = field(default_factory=Place)
    species: str = ""
    portion: str = ""
    stage: Stage = Stage.HOLDING
    windows: Mapping[Quantity, Window] = field(default_factory=dict)
    rates: Mapping[Quantity, tuple[RateLimit, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """How raw numbers become calibrated ones from `at_ms` on: value = raw * slope + offset."""

    at_ms: int
    slope: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One sensor: what it measures, on which tank, and how often it should speak.

    tank: a tank's id, or `ROOM` for a probe in the room's air. every_ms: the expected spacing.
    resolution: its smallest step in the kept unit, 0 when unknown. derived: no sensor at all, but a
    series worked out from others; when those are silent it cannot speak, and that says nothing new.
    """

    id: str
    tank: str
    quantity: Quantity
    every_ms: int
    resolution: float = 0.0
    calibrations: tuple[Calibration, ...] = ()  # in order of at_ms
    derived: bool = False

    def calibrated(self, raw: float, at_ms: int) -> float:
        """The raw number after the calibration in force at `at_ms`."""
        for calibration in reversed(self.calibrations):
            if calibration.at_ms <= at_ms:
                return raw * calibration.slope + calibration.offset
        return raw


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The whole fish room: what judging, alarms and pages are set up from.

    id: how stores and topics name it. zone: an IANA time zone name.
    """

    id: str
    name: str
    zone: str
    tanks: tuple[Tank, ...]
    probes: tuple[Probe, ...]

    def tank(self, tank_id: str) -> Tank:
        """The tank of that id. Raises KeyError with the ids that exist."""
        for tank in self.tanks:
            if tank.id == tank_id:
                return tank
        raise KeyError(f"no tank {tank_id!r}; there are: {', '.join(t.id for t in self.tanks)}")
