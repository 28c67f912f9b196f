"""A calendar of faults: what strikes which tank of a random room, when, how badly, till when."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from random import Random

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch_sim.air import Climate
from roewatch_sim.fault import OF_THE_ROOM, FaultKind, SimFault
from roewatch_sim.keeper import WaterChange
from roewatch_sim.tank import TankSpec

LEARN_DAYS = 5
"""Nothing goes wrong in a random room's first days, in which a judge may learn."""

_TRIES = 4_000


@dataclass(frozen=True, slots=True)
class Course:
    """How one kind goes: hours until it is mended, hours of calm after it, range of strength.

    spoils_water: the keeper has to change most of the water four times to put it right.
    """

    hours: tuple[float, float]
    calm_h: float = 20.0
    strength: tuple[float, float] | None = None
    spoils_water: bool = False


COURSES = {
    FaultKind.HEATER_DEAD: Course((6, 14)),
    FaultKind.HEATER_STUCK_ON: Course((6, 14)),
    FaultKind.HEATER_WEAK: Course((48, 90), 24, (0.7, 1.0)),  # of the power it needs
    FaultKind.THERMOSTAT_MOVED: Course((30, 72), 24, (0.9, 2.5)),  # up or down
    FaultKind.CYCLE_WIDE: Course((30, 60), 20, (3.0, 5.0)),
    FaultKind.LID_OPEN: Course((12, 36), 20, (1.5, 2.3)),
    FaultKind.AERATION_STOP: Course((14, 30)),
    FaultKind.BAD_WATER_CHANGE: Course((2, 6), 30, (-9.0, -5.0), spoils_water=True),
    FaultKind.ACID_OVERDOSE: Course((2, 6), 30, spoils_water=True),
    FaultKind.HARD_WATER: Course((3, 8), 30, spoils_water=True),
    FaultKind.PH_CRASH: Course((16, 30), 30, (5.0, 12.0), spoils_water=True),
    FaultKind.PROBE_DRY: Course((3, 10)),
    FaultKind.PROBE_STUCK: Course((8, 30)),
    FaultKind.PROBE_SILENT: Course((1, 8)),
    FaultKind.PROBE_NOISY: Course((2, 10)),
    FaultKind.PROBE_DRIFT: Course((72, 120), 24, (0.1, 0.3)),
    FaultKind.PROBE_PATCHY: Course((5, 14), 20, (0.5, 0.8)),
    FaultKind.PROBE_SWAPPED: Course((8, 30)),
    FaultKind.PROBE_BUFFER: Course((0.25, 0.6)),
    FaultKind.PROBE_CLOCK_BACK: Course((1, 8), 20, (1.0, 12.0)),
    FaultKind.PROBE_CLOCK_FROZEN: Course((1, 8)),
    FaultKind.PROBE_CLOCK_AHEAD: Course((1, 8), 20, (10.0, 600.0)),
    FaultKind.SENSOR_ERROR: Course((0.5, 4)),
    FaultKind.ROOM_COLD: Course((14, 36), 30),
    FaultKind.POWER_CUT: Course((1.0, 5.0), 24),
}
"""Every kind that is a fault; a legitimate water change is the keeper's habit instead."""

_TANK_KINDS = [kind for kind in COURSES if kind not in OF_THE_ROOM]
_ROOM_KINDS = [FaultKind.POWER_CUT, FaultKind.ROOM_COLD]
_EITHER_PROBE = frozenset(
    {FaultKind.PROBE_STUCK, FaultKind.PROBE_SILENT, FaultKind.PROBE_NOISY,
     FaultKind.PROBE_PATCHY, FaultKind.PROBE_DRIFT}
)  # fmt: skip


@dataclass(slots=True)
class Calendar:
    """Draws faults that never overlap on one tank. `busy` holds taken spans, by place."""

    specs: dict[str, TankSpec]
    climate: Climate
    random: Random
    from_ms: int
    to_ms: int
    busy: dict[str, list[tuple[int, int]]] = field(default_factory=lambda: defaultdict(list))

    def draw(self, count: int) -> Iterator[tuple[SimFault, list[WaterChange]]]:
        """That many faults with the repairs that follow each; one in fifteen is of the room.

        Raises ValueError when they do not fit into the days and tanks there are.
        """
        if count and not self.specs:
            raise ValueError("no tank may be struck; leave fewer healthy")
        of_room = count // 15
        kinds = [_ROOM_KINDS[n % 2] for n in range(of_room)]
        deck: list[FaultKind] = []
        while len(deck) < count - of_room:
            deck += self.random.sample(_TANK_KINDS, len(_TANK_KINDS))
        struck = deck[: count - of_room]
        # the long ones first, as they are hardest to place
        struck.sort(key=lambda kind: -COURSES[kind].hours[1])
        for kind in kinds + struck:
            yield self._place(kind)

    def _place(self, kind: FaultKind) -> tuple[SimFault, list[WaterChange]]:
        course, random = COURSES[kind], self.random
        for _ in range(_TRIES):
            tank = "" if kind in OF_THE_ROOM else random.choice(list(self.specs))
            other = ""
            if kind is FaultKind.PROBE_SWAPPED:
                other = random.choice(list(self.specs))
                if other == tank:
                    continue
            at_ms = round(random.uniform(self.from_ms, self.to_ms))
            until_ms = at_ms + round(random.uniform(*course.hours) * HOUR_MS)
            calm_ms = until_ms + round(course.calm_h * HOUR_MS)
            if until_ms > self.to_ms or not self._free(tank, other, at_ms, calm_ms):
                continue
            for place in {tank, other} - {""} or {ROOM}:
                self.busy[place].append((at_ms, calm_ms))
            fault = SimFault(
                kind, tank, at_ms, until_ms, self._strength(kind, tank),
                self._quantity(kind), other,
            )  # fmt: skip
            return fault, self._repairs(fault) if course.spoils_water else []
        raise ValueError(
            f"{kind} does not fit any more; give more days, more tanks or fewer faults"
        )

    def _free(self, tank: str, other: str, at_ms: int, calm_ms: int) -> bool:
        places = [tank, other, ROOM] if tank else [ROOM, *self.specs]
        return not any(
            at_ms < end_ms and begin_ms < calm_ms
            for place in places
            for begin_ms, end_ms in self.busy.get(place, ())
        )

    def _strength(self, kind: FaultKind, tank: str) -> float | None:
        random = self.random
        if kind is FaultKind.SENSOR_ERROR:
            return random.choice([85.0, -127.0])
        bounds = COURSES[kind].strength
        if bounds is None:
            return None
        drawn = random.uniform(*bounds)
        if kind is FaultKind.THERMOSTAT_MOVED or kind is FaultKind.PROBE_DRIFT:
            return drawn * random.choice([-1, 1])
        if kind is FaultKind.HEATER_WEAK:
            heat = self.specs[tank].heat
            need = heat.loss_w_per_k * (self.specs[tank].set_c - self.climate.set_c)
            return drawn * need / heat.heater_watts
        return drawn

    def _quantity(self, kind: FaultKind) -> Quantity | None:
        if kind in _EITHER_PROBE:
            return self.random.choice([Quantity.TEMPERATURE, Quantity.PH])
        return None

    def _repairs(self, fault: SimFault) -> list[WaterChange]:
        assert fault.until_ms is not None
        return [
            WaterChange(
                at_ms=fault.until_ms + n * 40 * MINUTE_MS, tank=fault.tank, share=0.85,
                cooler_k=0.5,
            )
            for n in range(1, 5)
        ]  # fmt: skip


def fault_calendar(
    specs: Sequence[TankSpec], climate: Climate, random: Random, *, start_ms: int, days: int
) -> Calendar:
    """An empty calendar of the tanks that may be struck."""
    return Calendar(
        specs={spec.id: spec for spec in specs},
        climate=climate,
        random=random,
        from_ms=start_ms + LEARN_DAYS * DAY_MS,
        to_ms=start_ms + days * DAY_MS - 12 * HOUR_MS,
    )
