"""The room of the soak: drawn by seed, one board to a rack of ten tanks, faults with labels."""

import json
from collections import defaultdict
from collections.abc import Collection, Iterator
from multiprocessing import Queue
from typing import Any, NamedTuple

from tests.journeys.broker import Broker

from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch_sim.fault import OF_THE_CLOCK, OF_THE_PROBE, OF_THE_ROOM, SimFault
from roewatch_sim.random_room import random_room
from roewatch_sim.room import Sample, SimRoom

ROUNDS = 2
"""A board says so many rounds of its probes at once."""
PH_EVERY_MS = 10 * MINUTE_MS
_RACK = 10
SPOKEN = {Quantity.TEMPERATURE: "Cel", Quantity.PH: "pH"}
"""What the boards read, and the unit they say it in."""

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
    """What comes in one step: (topic, payload) for each rack, and what the keeper logged.

    readings: how many of the numbers are of boards whose clock is right all the time; what the
    others stamp twice is kept once, and what they stamp with the future not at all.
    """

    packs: list[tuple[str, bytes]]
    journal: list[JournalEntry]
    readings: int


class Label(NamedTuple):
    """One fault as scored. tanks: empty for the whole room. until_ms: mended or over.

    seen_times: how often its probe was to speak meanwhile; None where it is none of a probe.
    """

    kind: str
    tanks: tuple[str, ...]
    at_ms: int
    until_ms: int
    seen_times: float | None = None

    @property
    def too_short(self) -> bool:
        """Whether it was over before its probe had spoken three times: flagged, but no alarm."""
        return self.seen_times is not None and self.seen_times < 3

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

    def room(self, only: Collection[str] = ()) -> SimRoom:
        """The room at its beginning: six tanks of ten are never struck by a fault of their own.

        In sixty days there are as many faults as tanks; none in the first six, while judging
        learns. only: see `random_room`.
        """
        return random_room(
            self.seed,
            self.tanks,
            healthy=self.tanks * 6 // 10,
            faults=max(0, self.tanks * (self.days - 6) // 54),
            days=self.days,
            every_ms=self.every_ms,
            only=only,
        )


def rack_of(tank: str) -> str:
    """The topic of the board that reads this tank."""
    number = 0 if tank == ROOM else int(tank[1:]) - 1
    return f"boathouse/rack-{number // _RACK}/pack"


def room_text(drawn: Drawn, broker: Broker, mirror: str) -> str:
    """The settings a keeper would have written."""
    every, ph_every = (f"{ms // 1000} s" for ms in (drawn.every_ms, ph_every_ms(drawn)))
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


def _ph_rounds(drawn: Drawn) -> int:
    """An electrode speaks in every so-manieth round of its board."""
    return max(1, PH_EVERY_MS // drawn.every_ms)


def ph_every_ms(drawn: Drawn) -> int:
    """From one reading of an electrode to the next."""
    return _ph_rounds(drawn) * drawn.every_ms


def said(sim: SimRoom, drawn: Drawn, to_ms: int) -> Iterator[Sample]:
    """What the boards say until then."""
    ph_rounds = _ph_rounds(drawn)
    for sample in sim.run(to_ms):
        if sample.quantity not in SPOKEN:
            continue
        # by the round, so that what is lost of an electrode is not made up for by the next
        if sample.quantity is Quantity.PH and sample.at_ms // drawn.every_ms % ph_rounds:
            continue
        yield sample


def packs(queue: "Queue[Any]", drawn: Drawn) -> None:
    """Put every step into `queue`, then the labels. Runs in a process of its own."""
    sim = drawn.room()
    end_ms = sim.clock_ms + drawn.days * DAY_MS
    wrong = wrong_clocks(sim)
    logged = 0
    while sim.clock_ms < end_ms:
        records: dict[str, list[dict[str, object]]] = defaultdict(list)
        count = 0
        to_ms = sim.clock_ms + drawn.step_ms
        for sample in said(sim, drawn, to_ms):
            count += sample.tank not in wrong
            records[rack_of(sample.tank)].append(
                {
                    "n": f"{sample.tank}-{sample.quantity}",
                    "u": SPOKEN[sample.quantity],
                    "t": sample.stamp_ms / 1000,
                    "v": sample.value,
                }
            )
        payloads = [(topic, json.dumps(pack).encode()) for topic, pack in records.items()]
        queue.put(Step(payloads, sim.journal[logged:], count))
        logged = len(sim.journal)
    queue.put(labels_of(sim, drawn, drawn.days))


def wrong_clocks(sim: SimRoom) -> set[str]:
    """The tanks whose board's clock goes wrong at some time."""
    return {fault.tank for fault in sim.labels if fault.kind in OF_THE_CLOCK}


def labels_of(sim: SimRoom, drawn: Drawn, days: float) -> list[Label]:
    """The faults of the first `days` days."""
    end_ms = sim.start_ms + round(days * DAY_MS)
    return [_label(fault, drawn, end_ms) for fault in sim.labels if fault.at_ms < end_ms]


def _label(fault: SimFault, drawn: Drawn, end_ms: int) -> Label:
    whole = fault.kind in OF_THE_ROOM
    tanks = () if whole else tuple(filter(None, (fault.tank, fault.other)))
    until_ms = fault.until_ms if fault.until_ms is not None else fault.lasts_until_ms
    until_ms = min(until_ms or end_ms, end_ms)
    times = None
    if fault.kind in OF_THE_PROBE - OF_THE_CLOCK:
        of_ph = fault.probe_quantity is Quantity.PH
        times = (until_ms - fault.at_ms) / (ph_every_ms(drawn) if of_ph else drawn.every_ms)
    return Label(str(fault.kind), tanks, fault.at_ms, until_ms, times)
