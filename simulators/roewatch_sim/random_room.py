"""A random room: tanks, house and keeper drawn by seed, and faults with labels, for benches.

Everything a detector could have been tuned to is drawn anew: litres, loss, glass, heater, set
point, band, chemistry, the house and its weather, noise, and the keeper's habits. The rooms are
unlike The Boathouse, and unlike each other.
"""

from collections.abc import Collection, Iterator
from math import exp, log
from random import Random

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch_sim.air import Climate
from roewatch_sim.calendar import fault_calendar
from roewatch_sim.heat import WATER_J_PER_LITRE_K, HeatSpec
from roewatch_sim.keeper import Calibrating, WaterChange
from roewatch_sim.room import SimRoom
from roewatch_sim.tank import HEAT_AND_PH, TankSpec
from roewatch_sim.water import WaterSpec

START_MS = 1_767_225_600_000
"""2026-01-01T00:00:00Z, where random rooms begin unless told otherwise."""


def random_room(  # noqa: PLR0913 -- all but the seed have their usual value
    seed: int,
    tanks: int = 24,
    *,
    healthy: int = 12,
    faults: int = 0,
    days: int = 30,
    start_ms: int = START_MS,
    every_ms: int = MINUTE_MS,
    only: Collection[str] = (),
) -> SimRoom:
    """A room of `tanks` tanks T01, T02, … for `days` days; the first `healthy` are never struck.

    faults: how many are played, of every kind in turn, none in the first five days, in which a
    judge may learn; some strike the whole room and so the healthy tanks too. They are in `labels`
    at once; `journal` and `excursions` fill as it runs. Each tank has its water changed every
    week or so and its electrode calibrated every few weeks, logged.
    only: to play no more of the same room than these tanks, and those they swap probes with; the
    boards then speak at other moments within the period.
    Raises ValueError if that many faults do not fit.
    """
    random = Random(f"{seed}/random room")
    climate = _climate(random)
    width = max(2, len(str(tanks)))
    specs = [_tank(f"T{n:0{width}}", climate, random) for n in range(1, tanks + 1)]
    chores = [chore for spec in specs for chore in _habits(spec, start_ms, days, random)]
    calendar = fault_calendar(specs[healthy:], climate, random, start_ms=start_ms, days=days)
    struck = list(calendar.draw(faults))
    wanted = set(only or (spec.id for spec in specs))
    wanted |= {fault.other for fault, _ in struck if fault.tank in wanted and fault.other}
    played = [spec for spec in specs if spec.id in wanted]
    room = SimRoom(played, seed=seed, start_ms=start_ms, every_ms=every_ms, climate=climate)
    for chore in chores:
        if chore.tank not in wanted:
            continue
        if isinstance(chore, Calibrating):
            room.plan_calibration(chore)
        else:
            room.plan_chore(chore)
    for fault, repairs in struck:
        if fault.tank and fault.tank not in wanted:
            continue
        room.inject(fault)
        for repair in repairs:
            room.plan_chore(repair)
    return room


def _climate(random: Random) -> Climate:
    set_c = random.uniform(17.5, 23.0)
    outside_c = random.uniform(-6.0, 12.0)
    house_h = random.uniform(10.0, 40.0)
    strength = random.uniform(1.3, 2.0)
    return Climate(
        outside_c=outside_c,
        day_swing=random.uniform(1.0, 5.0),
        weather_sd=random.uniform(1.0, 3.0),
        set_c=set_c,
        night_back=random.choice([0.0, random.uniform(0.5, 2.0)]),
        house_h=house_h,
        gains_k=random.uniform(2.0, 5.0),
        boiler_k_per_h=strength * (set_c - outside_c + 10.0) / house_h,
        zone_h=random.choice([0.0, 1.0, 2.0, 3.0]),
    )


def _tank(name: str, climate: Climate, random: Random) -> TankSpec:
    litres = exp(random.uniform(log(10.0), log(120.0)))
    glass_share = random.uniform(0.08, 0.3)
    store = litres * WATER_J_PER_LITRE_K * (1 + glass_share)
    loss = store / (random.uniform(4.5, 14.0) * 3600)
    set_c = random.uniform(max(23.5, climate.set_c + 2.0), 28.0)
    need = loss * (set_c - climate.set_c + 3.0)  # on the coldest night
    ph = random.uniform(5.4, 7.3)
    room_c, room_ph = random.uniform(1.2, 2.0), random.uniform(0.45, 0.7)
    cell = (Quantity.CONDUCTIVITY,) if random.random() < 0.3 else ()
    return TankSpec(
        id=name,
        heat=HeatSpec(
            litres=litres, heater_watts=need * random.uniform(1.4, 3.5), loss_w_per_k=loss,
            glass_share=glass_share, glass_lag_s=random.uniform(1200, 4000),
        ),
        water=WaterSpec(
            ph=ph, conductivity=random.uniform(25, 250), air_uatm=random.uniform(550, 1100),
            breath_mmol_h=random.uniform(0.0008, 0.0025),
            plants_mmol_h=random.uniform(0.0, 0.0035),
            exchange_h=random.uniform(0.8, 2.5), still_h=random.uniform(8, 25),
            eaten_per_day=random.uniform(0.002, 0.012),
        ),
        set_c=set_c,
        half_band=random.uniform(0.12, 0.5),
        quantities=(*HEAT_AND_PH, *cell),
        windows={
            Quantity.TEMPERATURE: Window(low=set_c - room_c, high=set_c + room_c),
            Quantity.PH: Window(low=ph - room_ph, high=ph + room_ph),
        },
        tap_alkalinity=random.uniform(1.5, 5.0),
        tap_conductivity=random.uniform(250, 650),
    )  # fmt: skip


def _habits(
    spec: TankSpec, start_ms: int, days: int, random: Random
) -> Iterator[WaterChange | Calibrating]:
    """The keeper's week: a water change every 5-10 days, a calibration every 14-28."""
    every_ms = random.randint(5, 10) * DAY_MS
    share, cooler_k = random.uniform(0.08, 0.25), random.uniform(0.0, 2.5)
    at_ms = start_ms + round(random.uniform(0, 1) * every_ms)
    end_ms = start_ms + days * DAY_MS
    while at_ms < end_ms:
        # by day, as people do: between 7 and 19 h UTC
        at_ms = at_ms // DAY_MS * DAY_MS + round(random.uniform(7, 19) * HOUR_MS)
        if at_ms >= start_ms:
            yield WaterChange(
                at_ms=at_ms, tank=spec.id, share=share, cooler_k=cooler_k,
                minutes=random.uniform(8, 30),
            )  # fmt: skip
        at_ms += every_ms
    at_ms = start_ms + round(random.uniform(1, 20) * DAY_MS)
    while at_ms < end_ms:
        yield Calibrating(at_ms=at_ms, tank=spec.id, minutes=random.uniform(12, 25))
        at_ms += round(random.uniform(14, 28) * DAY_MS)
