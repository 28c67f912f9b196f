"""The room of the soak: drawn by seed, one board to a rack of ten tanks, faults with labels."""

import json
from collections import defaultdict
from multiprocessing import Queue
from typing import Any, NamedTuple

from tests.journeys.broker import Broker

from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch_sim.fault import OF_THE_ROOM
from roewatch_sim.random_room import random_room
from roewatch_sim.room import SimRoom

ROUNDS = 2
"""A board says so many rounds of its probes at once."""
PH_EVERY_MS = 10 * MINUTE_MS
_RACK = 10
_UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.PH: "pH"}

_HEAD = """
[room]
name = "The Boathouse"
id = "boathouse"
timezone = "Europe/Tallinn"
[broker]
host = "{host}"
port = {port}
username = "{user}"
password = "{password}"
[storage]
path = "soak.sqlite"
[mirror]
enabled = true
url = "{mirror}"
every = "2 s"
overlap = "10 s"
[judging]
# boards here speak every four minutes: three without a word mean nothing
room_silent_after = "15 min"
[telling]
well_at = "08:00"
[[contact]]
name = "Keeper"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/keeper"
[[contact]]
name = "Stand-in"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/stand-in"
[[probe]]
tank = "room"
quantity = "temperature"
topic = "boathouse/rack-0/pack"
format = "senml"
name = "room-temperature"
every = "{every}"
"""


class Step(NamedTuple):
    """What comes in one step: (topic, payload) for each rack, and what the keeper logged."""

    packs: list[tuple[str, bytes]]
    journal: list[JournalEntry]
    readings: int


class Label(NamedTuple):
    """One fault as scored. tanks: empty for the whole room. until_ms: mended or over."""

    kind: str
    tanks: tuple[str, ...]
    at_ms: int
    until_ms: int

    def concerns(self, tank: str) -> bool:
        """Whether an alarm on `tank` may be about it."""
        return not self.tanks or tank in self.tanks


class Drawn(NamedTuple):
    """The room that `seed` draws. every_ms: from one reading of a thermometer to the next."""

    seed: int
    tanks: int
    days: int
    every_ms: int

    @property
    def step_ms(self) -> int:
        """From one pack of a board to its next."""
        return ROUNDS * self.every_ms

    def room(self) -> SimRoom:
        """The room at its beginning: six tanks of ten are never struck by a fault of their own.

        In sixty days there are as many faults as tanks; none in the first six, while judging
        learns.
        """
        return random_room(
            self.seed,
            self.tanks,
            healthy=self.tanks * 6 // 10,
            faults=max(0, self.tanks * (self.days - 6) // 54),
            days=self.days,
            every_ms=self.every_ms,
        )


def rack_of(tank: str) -> str:
    """The topic of the board that reads this tank."""
    number = 0 if tank == ROOM else int(tank[1:]) - 1
    return f"boathouse/rack-{number // _RACK}/pack"


def room_text(drawn: Drawn, broker: Broker, mirror: str) -> str:
    """The settings a keeper would have written."""
    every, ph_every = (f"{ms // 1000} s" for ms in (drawn.every_ms, _ph_every_ms(drawn)))
    parts = [
        _HEAD.format(
            host=broker.host,
            port=broker.port,
            user=broker.user,
            password=broker.password,
            mirror=mirror,
            every=every,
        )
    ]
    for tank in drawn.room().tanks.values():
        heat = tank.spec.heat
        windows = "\n".join(
            f"windows.{quantity} = {{ low = {window.low}, high = {window.high} }}"
            for quantity, window in tank.spec.windows.items()
        )
        parts.append(
            f'[[tank]]\nid = "{tank.id}"\nlitres = {heat.litres:.1f}\n'
            f'heater_watts = {heat.heater_watts:.0f}\nstage = "{tank.spec.stage}"\n{windows}'
        )
        parts += [
            f'[[probe]]\ntank = "{tank.id}"\nquantity = "{quantity}"\nformat = "senml"\n'
            f'topic = "{rack_of(tank.id)}"\nname = "{tank.id}-{quantity}"\nevery = "{span}"'
            for quantity, span in ((Quantity.TEMPERATURE, every), (Quantity.PH, ph_every))
        ]
    return "\n".join(parts)


def _ph_every_ms(drawn: Drawn) -> int:
    return max(PH_EVERY_MS, drawn.every_ms)


def packs(queue: "Queue[Any]", drawn: Drawn) -> None:
    """Put every step into `queue`, then the labels. Runs in a process of its own."""
    sim = drawn.room()
    end_ms = sim.clock_ms + drawn.days * DAY_MS
    ph_every_ms = _ph_every_ms(drawn)
    logged = 0
    ph_said: dict[str, int] = {}
    while sim.clock_ms < end_ms:
        records: dict[str, list[dict[str, object]]] = defaultdict(list)
        count = 0
        to_ms = sim.clock_ms + drawn.step_ms
        for sample in sim.run(to_ms):
            if sample.quantity not in _UNITS:
                continue
            if sample.quantity is Quantity.PH:
                if sample.at_ms - ph_said.get(sample.tank, 0) < ph_every_ms - MINUTE_MS:
                    continue
                ph_said[sample.tank] = sample.at_ms
            count += 1
            records[rack_of(sample.tank)].append(
                {
                    "n": f"{sample.tank}-{sample.quantity}",
                    "u": _UNITS[sample.quantity],
                    "t": sample.at_ms / 1000,
                    "v": sample.value,
                }
            )
        said = [(topic, json.dumps(pack).encode()) for topic, pack in records.items()]
        queue.put(Step(said, sim.journal[logged:], count))
        logged = len(sim.journal)
    queue.put(labels_of(sim, drawn.days))


def labels_of(sim: SimRoom, days: float) -> list[Label]:
    """The faults of the first `days` days."""
    end_ms = sim.start_ms + round(days * DAY_MS)
    return [_label(fault, end_ms) for fault in sim.labels if fault.at_ms < end_ms]


def _label(fault: Any, end_ms: int) -> Label:
    whole = fault.kind in OF_THE_ROOM
    tanks = () if whole else tuple(filter(None, (fault.tank, fault.other)))
    until_ms = fault.until_ms if fault.until_ms is not None else fault.lasts_until_ms
    return Label(str(fault.kind), tanks, fault.at_ms, min(until_ms or end_ms, end_ms))
