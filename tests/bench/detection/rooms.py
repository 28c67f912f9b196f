"""Rooms for judging the judge: seeded, with labelled faults, in two families kept apart.

`tuning` and `wide` rooms were looked at while the judge was being built; `judging` rooms never
were: only their figures. They differ in more than the seed: other tank sizes, losses, switching
bands, windows and climates.
"""

from dataclasses import dataclass
from random import Random

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch_sim.air import Climate
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.heat import HeatSpec
from roewatch_sim.keeper import Calibrating, WaterChange
from roewatch_sim.room import SimRoom
from roewatch_sim.tank import TankSpec
from roewatch_sim.water import WaterSpec

START = at_ms_of_iso("2026-01-05T00:00:00Z")
HEALTHY = 12
TANKS = 24
DAYS = 30


@dataclass(frozen=True, kw_only=True)
class Family:
    """What the rooms of one family are drawn from: litres, loss in W/K, spans as (low, high)."""

    sizes: tuple[tuple[float, float], ...]
    half_band: tuple[float, float]
    headroom: tuple[float, float]  # heater watts over what the coldest room needs
    set_c: tuple[float, float]
    window_c: tuple[float, float]  # half its width
    outside_c: tuple[float, float]
    room_c: tuple[float, float]
    glass: tuple[float, float]


FAMILIES = {
    "tuning": Family(
        sizes=((10, 1.78), (20, 2.83), (30, 3.68), (40, 4.52), (60, 6.05)),
        half_band=(0.2, 0.3), headroom=(1.6, 3.0), set_c=(24.0, 27.0), window_c=(1.4, 1.8),
        outside_c=(0.0, 6.0), room_c=(20.0, 22.0), glass=(0.12, 0.22),
    ),
    "wide": Family(  # for tuning too: everything at its extremes
        sizes=((10, 2.0), (15, 2.2), (28, 3.2), (45, 5.0), (100, 8.5)),
        half_band=(0.12, 0.5), headroom=(1.3, 4.0), set_c=(23.0, 28.5), window_c=(1.1, 2.2),
        outside_c=(-6.0, 12.0), room_c=(18.0, 23.5), glass=(0.05, 0.35),
    ),
    "judging": Family(
        sizes=((12, 2.2), (18, 2.4), (25, 3.5), (35, 4.0), (54, 5.2), (80, 7.4)),
        half_band=(0.15, 0.4), headroom=(1.5, 3.5), set_c=(23.5, 28.0), window_c=(1.2, 2.0),
        outside_c=(-4.0, 10.0), room_c=(18.5, 22.5), glass=(0.08, 0.3),
    ),
}  # fmt: skip

# kind, how long it lasts (None: as long as pouring takes), hours until the next may begin
_PLAN: tuple[tuple[FaultKind, float | None, Quantity | None], ...] = (
    (FaultKind.HEATER_DEAD, 9, None),
    (FaultKind.HEATER_STUCK_ON, 7, None),
    (FaultKind.HEATER_WEAK, 48, None),
    (FaultKind.THERMOSTAT_MOVED, 30, None),
    (FaultKind.CYCLE_WIDE, 30, None),
    (FaultKind.LID_OPEN, 30, None),
    (FaultKind.AERATION_STOP, 36, None),
    (FaultKind.BAD_WATER_CHANGE, None, None),
    (FaultKind.ACID_OVERDOSE, None, None),
    (FaultKind.HARD_WATER, None, None),
    (FaultKind.PH_CRASH, 24, None),
    (FaultKind.PROBE_DRY, 4, None),
    (FaultKind.PROBE_STUCK, 8, None),
    (FaultKind.PROBE_STUCK, 40, Quantity.PH),
    (FaultKind.PROBE_SILENT, 3, None),
    (FaultKind.PROBE_NOISY, 6, None),
    (FaultKind.PROBE_NOISY, 6, Quantity.PH),
    (FaultKind.PROBE_DRIFT, 120, None),
    (FaultKind.PROBE_DRIFT, 96, Quantity.TEMPERATURE),
    (FaultKind.PROBE_PATCHY, 8, None),
    (FaultKind.PROBE_SWAPPED, 8, None),
    (FaultKind.PROBE_BUFFER, None, None),
    (FaultKind.SENSOR_ERROR, 3, None),
    (FaultKind.HEATER_DEAD, 9, None),
    (FaultKind.HEATER_STUCK_ON, 7, None),
)
_CLOCKS = (
    FaultKind.PROBE_CLOCK_BACK, FaultKind.PROBE_CLOCK_FROZEN, FaultKind.PROBE_CLOCK_AHEAD
)  # fmt: skip
_LEAVES_NOTHING = frozenset(
    {FaultKind.PROBE_NOISY, FaultKind.PROBE_PATCHY, FaultKind.PROBE_SILENT, FaultKind.SENSOR_ERROR}
)
_POURED = {FaultKind.ACID_OVERDOSE, FaultKind.HARD_WATER, FaultKind.PH_CRASH}


@dataclass(frozen=True, kw_only=True)
class Label:
    """One fault as scored: `until_ms` is when it was mended or over."""

    fault: SimFault
    tanks: tuple[str, ...]
    until_ms: int


def bench_room(
    family: str, seed: int, *, days: int = DAYS, faults: bool = True
) -> tuple[SimRoom, list[Label]]:
    """A room of 24 tanks with its faults booked; the first twelve tanks stay healthy."""
    from_ = FAMILIES[family]
    random = Random(f"{family}/{seed}")
    climate = Climate(
        outside_c=random.uniform(*from_.outside_c), set_c=random.uniform(*from_.room_c),
        day_swing=random.uniform(1.5, 4.0), weather_sd=random.uniform(1.5, 3.5),
    )  # fmt: skip
    specs = [_spec(n, from_, random, climate.set_c) for n in range(TANKS)]
    room = SimRoom(specs, seed=seed, start_ms=START, climate=climate)
    for n, spec in enumerate(specs):
        for week in range(days // 7 + 1):
            at_ms = START + int((n % 7 + 7 * week + random.uniform(0.55, 0.85)) * DAY_MS)
            share = random.uniform(0.1, 0.25)
            room.plan_chore(WaterChange(at_ms=at_ms, tank=spec.id, share=share,
                                        cooler_k=random.uniform(0.5, 2.0)))  # fmt: skip
        at_ms = START + int(random.uniform(3, days) * DAY_MS)
        if n % 3 == 0:
            room.plan_chore(Calibrating(at_ms=at_ms, tank=spec.id))
            _buffers(room, spec.id, at_ms)
    labels = _book(room, specs, random, days) if faults else []
    return room, labels


def _buffers(room: SimRoom, tank: str, at_ms: int) -> None:
    """What the electrode shows while it is being calibrated; no fault, the journal has it."""
    room.inject(SimFault(FaultKind.PROBE_BUFFER, tank, at_ms + MINUTE_MS, at_ms + 15 * MINUTE_MS))


def _spec(n: int, family: Family, random: Random, room_c: float) -> TankSpec:
    litres, loss = random.choice(family.sizes)
    loss *= random.uniform(0.9, 1.1)
    set_c = round(random.uniform(*family.set_c), 1)
    watts = loss * (set_c - room_c + 2) * random.uniform(*family.headroom)
    half = random.uniform(*family.window_c)
    ph = random.uniform(5.6, 7.2)
    return TankSpec(
        id=f"{'HF'[n >= HEALTHY]}{n:02d}",
        heat=HeatSpec(litres=litres, heater_watts=watts, loss_w_per_k=loss,
                      glass_share=random.uniform(*family.glass)),
        water=WaterSpec(ph=ph, conductivity=random.uniform(40, 150)),
        set_c=set_c,
        half_band=random.uniform(*family.half_band),
        windows={
            Quantity.TEMPERATURE: Window(low=set_c - half, high=set_c + half),
            Quantity.PH: Window(low=ph - 0.5, high=ph + 0.5),
        },
    )  # fmt: skip


def _book(room: SimRoom, specs: list[TankSpec], random: Random, days: int) -> list[Label]:
    """Two rounds of every kind over the twelve faulty tanks, each alone in its tank."""
    ill = specs[HEALTHY:]
    labels: list[Label] = []
    cut_ms = START + int(random.uniform(9, 11) * DAY_MS)
    cold_ms = START + int(random.uniform(19, 21) * DAY_MS)
    whole = [
        SimFault(FaultKind.POWER_CUT, "", cut_ms, cut_ms + int(random.uniform(2.5, 5) * HOUR_MS)),
        SimFault(FaultKind.ROOM_COLD, "", cold_ms, cold_ms + 20 * HOUR_MS),
    ]
    everybody = tuple(spec.id for spec in specs)
    for fault in whole:
        room.inject(fault)
        assert fault.until_ms is not None
        labels.append(Label(fault=fault, tanks=everybody, until_ms=fault.until_ms))
    blocked = [(f.at_ms - 14 * HOUR_MS, (f.until_ms or 0) + 24 * HOUR_MS) for f in whole]
    free = {spec.id: START + int(random.uniform(4, 5.5) * DAY_MS) for spec in ill}
    end_ms = START + days * DAY_MS
    waiting = [*_PLAN] * 3
    random.shuffle(waiting)
    by_id = {spec.id: spec for spec in specs}
    for kind, hours, quantity in waiting:
        lasts_ms = int((hours or 0.5) * HOUR_MS)
        spot = _spot(free, blocked, lasts_ms, end_ms - 26 * HOUR_MS, random)
        if spot is None:
            continue
        tank, at_ms = spot
        until_ms = None if hours is None else at_ms + lasts_ms
        other = ""
        if kind is FaultKind.PROBE_SWAPPED:
            other = _partner(by_id[tank], ill, free, at_ms)
            if not other:
                continue
        fault = SimFault(kind, tank, at_ms, until_ms, quantity=quantity, other=other)
        room.inject(fault)
        over_ms = at_ms + lasts_ms
        labels.append(
            Label(fault=fault, tanks=(tank, other) if other else (tank,), until_ms=over_ms)
        )
        rest_ms = 22 * HOUR_MS
        if kind in _POURED:
            for n in range(3):  # the keeper mends the water with prepared water
                room.plan_chore(WaterChange(at_ms=over_ms + (10 + 3 * n) * HOUR_MS, tank=tank,
                                            share=0.6, cooler_k=0.3))  # fmt: skip
            rest_ms = 36 * HOUR_MS
        for name in (tank, other) if other else (tank,):
            free[name] = over_ms + rest_ms + int(random.uniform(0, 12) * HOUR_MS)
    labels += _book_clocks(room, labels, blocked)
    return sorted(labels, key=lambda label: label.fault.at_ms)


def _book_clocks(room: SimRoom, labels: list[Label], blocked: list[tuple[int, int]]) -> list[Label]:
    """Wrong clocks, in the rest after faults that leave nothing behind in the water."""
    booked: list[Label] = []
    for label in labels:
        if label.fault.kind not in _LEAVES_NOTHING or len(booked) == 2 * len(_CLOCKS):
            continue
        at_ms = label.until_ms + 8 * HOUR_MS
        until_ms = at_ms + 3 * HOUR_MS
        if any(at_ms < until and until_ms > since for since, until in blocked):
            continue
        kind = _CLOCKS[len(booked) % len(_CLOCKS)]
        fault = SimFault(kind, label.fault.tank, at_ms, until_ms)
        room.inject(fault)
        booked.append(Label(fault=fault, tanks=(fault.tank,), until_ms=until_ms))
    return booked


def _partner(tank: TankSpec, ill: list[TankSpec], free: dict[str, int], at_ms: int) -> str:
    """A tank to swap probes with: free now, and not of the same temperature by chance."""
    for other in ill:
        if free[other.id] <= at_ms and abs(other.set_c - tank.set_c) >= 0.8:
            return other.id
    return ""


def _spot(
    free: dict[str, int], blocked: list[tuple[int, int]], lasts_ms: int, end_ms: int, random: Random
) -> tuple[str, int] | None:
    for tank, from_ms in sorted(free.items(), key=lambda item: item[1]):
        at_ms = from_ms + int(random.uniform(0, 6) * HOUR_MS)
        for since, until in blocked:
            if at_ms < until and at_ms + lasts_ms > since:
                at_ms = until + int(random.uniform(0, 6) * HOUR_MS)
        if at_ms + lasts_ms < end_ms:
            return tank, at_ms
    return None
