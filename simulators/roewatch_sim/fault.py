"""A fault to play: what goes wrong in the simulated room, where, when and how badly."""

from dataclasses import dataclass
from enum import StrEnum

from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM


class FaultKind(StrEnum):
    """What can be made to go wrong. Beside each: what `strength` means, and its default."""

    # the equipment
    HEATER_DEAD = "heater-dead"
    HEATER_STUCK_ON = "heater-stuck-on"
    HEATER_WEAK = "heater-weak"  # share of its watts that is left, 0.35
    THERMOSTAT_MOVED = "thermostat-moved"  # by so many kelvin, +1.5
    CYCLE_WIDE = "cycle-wide"  # times as wide a switching band, 4
    LID_OPEN = "lid-open"  # times the loss with the lid on, 1.8
    AERATION_STOP = "aeration-stop"
    # the room
    ROOM_COLD = "room-cold"
    POWER_CUT = "power-cut"
    # the water
    BAD_WATER_CHANGE = "bad-water-change"  # kelvin the new water differs by, -8
    ACID_OVERDOSE = "acid-overdose"  # meq/L, else what leaves 0.05 meq/L too much
    HARD_WATER = "hard-water"  # meq/L of alkalinity in the new water, 3
    PH_CRASH = "ph-crash"  # hours in which the buffer falls to 1/e, 9
    WATER_CHANGE = "water-change"  # share of the water changed, 0.25: legitimate and logged
    # the probe
    PROBE_DRY = "probe-dry"
    PROBE_STUCK = "probe-stuck"
    PROBE_SILENT = "probe-silent"
    PROBE_NOISY = "probe-noisy"  # noise in kept units, temperature 0.6, pH 0.25
    PROBE_DRIFT = "probe-drift"  # kept units a day, pH 0.1, temperature 0.2
    PROBE_PATCHY = "probe-patchy"  # share of readings lost, 0.6
    PROBE_SWAPPED = "probe-swapped"  # with the same probe of the tank in `other`
    PROBE_BUFFER = "probe-buffer"  # in pH 7.00, then in 4.00, half the time each
    PROBE_CLOCK_BACK = "probe-clock-back"  # hours its board's clock was put back, 5
    PROBE_CLOCK_FROZEN = "probe-clock-frozen"
    PROBE_CLOCK_AHEAD = "probe-clock-ahead"  # minutes its board's clock runs ahead, 60
    SENSOR_ERROR = "sensor-error"  # the number reported, 85.0 (power-on) or -127 (unplugged)


OF_THE_ROOM = frozenset({FaultKind.ROOM_COLD, FaultKind.POWER_CUT})
"""These strike the room's air and mains, not one tank."""

OF_THE_PROBE = frozenset(kind for kind in FaultKind if kind.startswith("probe-")) | {
    FaultKind.SENSOR_ERROR
}
"""These leave the water alone and spoil only what is said about it."""

OF_THE_CLOCK = frozenset(
    {FaultKind.PROBE_CLOCK_BACK, FaultKind.PROBE_CLOCK_FROZEN, FaultKind.PROBE_CLOCK_AHEAD}
)
"""These strike a tank's board: all its probes tell the same wrong time. A board that sends no time,
as the plain ones of the Boathouse, cannot show them."""

_PH_FIRST = frozenset({FaultKind.PROBE_DRIFT, FaultKind.PROBE_BUFFER})

_POURED_IN_MS = {
    FaultKind.BAD_WATER_CHANGE: 10 * MINUTE_MS,
    FaultKind.HARD_WATER: 15 * MINUTE_MS,
    FaultKind.WATER_CHANGE: 20 * MINUTE_MS,
    FaultKind.ACID_OVERDOSE: 5 * MINUTE_MS,
}
_BUFFERS_MS = 16 * MINUTE_MS


@dataclass(frozen=True, slots=True)
class SimFault:
    """One fault. tank: a tank's id, "room" for the room or its air probe, "" for the whole room.

    at_ms, until_ms: event time; without an end it stays (buffers: 16 minutes). What is poured in
    takes minutes, whatever `until_ms` says; there that only says when it was put right again.
    strength: see `FaultKind`. quantity: which probe, for
    faults of probes; None is temperature, or pH where only pH makes sense (drift, buffer).
    other: the second tank of two swapped probes; empty is the next tank with such a probe.
    """

    kind: FaultKind
    tank: str
    at_ms: int
    until_ms: int | None = None
    strength: float | None = None
    quantity: Quantity | None = None
    other: str = ""

    def __post_init__(self) -> None:
        if self.until_ms is not None and self.until_ms <= self.at_ms:
            raise ValueError(f"{self.kind} on {self.tank or 'the room'}: ends before it begins")
        if self.kind in OF_THE_ROOM and self.tank not in ("", ROOM):
            raise ValueError(
                f"{self.kind} strikes the whole room, not {self.tank}; leave `tank` empty"
            )
        if not self.tank and self.kind not in OF_THE_ROOM | {FaultKind.PROBE_SILENT}:
            raise ValueError(f"{self.kind} needs a tank")

    def strong(self, usual: float) -> float:
        """Its strength, or the usual one."""
        return usual if self.strength is None else self.strength

    @property
    def pouring_ms(self) -> int:
        """How long it takes to pour in; 0 for faults of another sort."""
        return _POURED_IN_MS.get(self.kind, 0)

    @property
    def lasts_until_ms(self) -> int | None:
        """When it is over: as given, else after its usual minutes, else None for never."""
        if self.until_ms is not None:
            return self.until_ms
        usual_ms = _BUFFERS_MS if self.kind is FaultKind.PROBE_BUFFER else self.pouring_ms
        return self.at_ms + usual_ms if usual_ms else None

    @property
    def probe_quantity(self) -> Quantity:
        """Which of the tank's probes it spoils."""
        if self.quantity is not None:
            return self.quantity
        return Quantity.PH if self.kind in _PH_FIRST else Quantity.TEMPERATURE
