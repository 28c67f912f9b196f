"""The invented room of all examples: The Boathouse, twelve tanks on two racks."""

from dataclasses import dataclass
from random import Random

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.window import Window
from roewatch_sim.heat import HeatSpec
from roewatch_sim.keeper import Lowering, WaterChange
from roewatch_sim.room import SimRoom
from roewatch_sim.tank import HEAT_AND_PH, TankSpec
from roewatch_sim.water import WaterSpec

# covered tanks, W/K by litres: shared trade notes, section 7 (walls 7.2, base 3.1, cover 6.5 W/m2K)
_LOSS = {10: 1.78, 20: 2.83, 30: 3.68, 40: 4.52, 60: 6.05}
_WITH_CELL = (*HEAT_AND_PH, Quantity.CONDUCTIVITY)

CONDITIONING_DAYS = 14
"""How long A1's plan takes: pH 7.2 to 6.0 and 24 to 27 °C."""


@dataclass(frozen=True, slots=True)
class _Tank:
    litres: int
    watts: float
    set_c: float
    ph: float
    micro_s: float
    species: str
    stage: Stage
    celsius: tuple[float, float]
    acidity: tuple[float, float]


# windows as in the species table of the trade notes, for the stage each tank is in
_TANKS = {
    "A1": _Tank(40, 75, 24.0, 7.2, 75, "nannostomus-marginatus", Stage.CONDITIONING,
                (22, 28), (4.0, 7.5)),
    "A2": _Tank(30, 50, 25.5, 6.1, 55, "boraras-brigittae", Stage.HOLDING, (20, 28), (4.0, 7.0)),
    "A3": _Tank(20, 50, 26.5, 5.9, 45, "boraras-brigittae", Stage.SPAWNING, (25, 28), (5.0, 6.5)),
    "A4": _Tank(30, 50, 23.8, 6.9, 120, "danio-margaritatus", Stage.HOLDING, (22, 26), (6.5, 7.5)),
    "A5": _Tank(60, 100, 25.0, 6.7, 110, "hyphessobrycon-pulchripinnis", Stage.HOLDING,
                (22, 28), (6.0, 7.5)),
    "A6": _Tank(20, 50, 26.5, 6.3, 70, "trichopsis-pumila", Stage.SPAWNING, (25, 28), (5.5, 7.0)),
    "B1": _Tank(60, 100, 26.5, 6.2, 48, "apistogramma-cacatuoides", Stage.SPAWNING,
                (25, 28), (5.5, 6.8)),
    "B2": _Tank(40, 75, 23.5, 6.6, 140, "corydoras-paleatus", Stage.HOLDING, (19, 26), (6.0, 7.0)),
    "B3": _Tank(20, 50, 27.0, 6.0, 50, "nannostomus-marginatus", Stage.FRY, (26, 28), (5.5, 6.5)),
    "B4": _Tank(20, 25, 24.0, 6.8, 95, "danio-margaritatus", Stage.SPAWNING, (23, 25), (6.5, 7.2)),
    "B5": _Tank(40, 75, 25.5, 6.5, 90, "hyphessobrycon-pulchripinnis", Stage.GROWING,
                (22, 28), (6.0, 7.5)),
    "B6": _Tank(30, 50, 26.0, 6.4, 80, "trichopsis-pumila", Stage.HOLDING, (24, 28), (5.5, 7.0)),
}  # fmt: skip


def _spec(name: str, tank: _Tank, random: Random) -> TankSpec:
    return TankSpec(
        id=name,
        heat=HeatSpec(
            litres=tank.litres,
            heater_watts=tank.watts,
            loss_w_per_k=_LOSS[tank.litres] * random.uniform(0.92, 1.08),
        ),
        water=WaterSpec(ph=tank.ph, conductivity=tank.micro_s),
        set_c=tank.set_c,
        half_band=random.uniform(0.2, 0.3),
        quantities=_WITH_CELL if name in ("A1", "B1") else HEAT_AND_PH,
        windows={
            Quantity.TEMPERATURE: Window(low=tank.celsius[0], high=tank.celsius[1]),
            Quantity.PH: Window(low=tank.acidity[0], high=tank.acidity[1]),
        },
        species=tank.species,
        stage=tank.stage,
    )


def conditioning(start_ms: int) -> list[Lowering]:
    """A1's daily steps from `start_ms`: pH 7.2 to 6.0, 24 to 27 °C, changes and doses in turn."""
    first_ms = start_ms // DAY_MS * DAY_MS + 15 * HOUR_MS  # 17 h in the room
    if first_ms < start_ms:
        first_ms += DAY_MS
    return [
        Lowering(
            at_ms=first_ms + day * DAY_MS, tank="A1", by_dose=day % 2 == 1,
            ph=7.2 - 1.2 * (day + 1) / CONDITIONING_DAYS,
            set_c=24.0 + 3.0 * (day + 1) / CONDITIONING_DAYS,
        )
        for day in range(CONDITIONING_DAYS)
    ]  # fmt: skip


def boathouse(seed: int, start_ms: int, *, every_ms: int = MINUTE_MS) -> SimRoom:
    """The Boathouse from `start_ms`: A1 begins its conditioning, the others hold.

    Each other tank has a logged water change once a week, on its own day.
    """
    random = Random(f"{seed}/boathouse")
    steps = conditioning(start_ms)
    # each step is under way for a while: what was meant counts from the evening it was made
    settled = [(step.at_ms + 6 * HOUR_MS, step) for step in steps]
    room = SimRoom(
        [_spec(name, tank, random) for name, tank in _TANKS.items()],
        seed=seed,
        start_ms=start_ms,
        every_ms=every_ms,
        plans={
            ("A1", Quantity.PH): [(start_ms, 7.2), *((at, step.ph) for at, step in settled)],
            ("A1", Quantity.TEMPERATURE): [
                (start_ms, 24.0), *((at, step.set_c) for at, step in settled)
            ],
        },
    )  # fmt: skip
    for step in steps:
        room.plan_chore(step)
    for place, name in enumerate(n for n in _TANKS if n != "A1"):
        day = start_ms // DAY_MS + place % 7
        for week in range(-1, 53):
            at_ms = (day + 7 * week) * DAY_MS + 16 * HOUR_MS + place * 25 * MINUTE_MS
            if at_ms >= start_ms:
                room.plan_chore(WaterChange(at_ms=at_ms, tank=name))
    return room
