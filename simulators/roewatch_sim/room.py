"""A simulated room: tanks, air, keeper and faults going on together, and what its probes say."""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import replace
from heapq import heappop, heappush
from random import Random
from typing import Any, NamedTuple

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch.room.window import Window
from roewatch_sim.air import Climate, RoomAir
from roewatch_sim.excursion import Excursion, ExcursionBook
from roewatch_sim.fault import OF_THE_CLOCK, OF_THE_PROBE, OF_THE_ROOM, FaultKind, SimFault
from roewatch_sim.keeper import Calibrating, Chore
from roewatch_sim.probe import SimProbe
from roewatch_sim.tank import SimTank, TankSpec, Truth

_LONGEST_STEP_MS = MINUTE_MS
_LIGHT_FROM_H, _LIGHT_TO_H = 9, 20  # the lamps' timer, local hours


class Sample(NamedTuple):
    """One number as a probe reports it, in the quantity's kept unit. Silence is absence.

    at_ms: when it is said. own_ms: what the board's clock says of that, where it is wrong.
    """

    at_ms: int
    tank: str
    quantity: Quantity
    value: float
    own_ms: int | None = None

    @property
    def stamp_ms(self) -> int:
        """The time the board writes beside the number."""
        return self.at_ms if self.own_ms is None else self.own_ms


Plans = Mapping[tuple[str, Quantity], Sequence[tuple[int, float]]]


class SimRoom:
    """A room that goes on from `start_ms` as far as it is asked to.

    every_ms: how often each probe speaks. plans: what was meant, by tank and quantity, as
    (at_ms, value). labels: every fault injected so far or to come. journal: what the keeper has
    logged so far.
    The same seed and arguments give the same samples; a fault in one tank changes no other
    tank's noise.
    """

    def __init__(
        self,
        specs: Iterable[TankSpec],
        *,
        seed: int,
        start_ms: int,
        every_ms: int = MINUTE_MS,
        climate: Climate | None = None,
        plans: Plans | None = None,
    ) -> None:
        self.seed, self.start_ms = seed, start_ms
        self.every_ms = every_ms
        self.clock_ms = start_ms
        self.air = RoomAir(climate or Climate(), f"{seed}/air", start_ms)
        self.air_probe = SimProbe(ROOM, Quantity.TEMPERATURE, f"{seed}/room", since_ms=start_ms)
        self.tanks = {spec.id: SimTank(spec, str(seed), start_ms) for spec in specs}
        self.plans: Plans = dict(plans or {})
        self.labels: list[SimFault] = []
        self.journal: list[JournalEntry] = []
        self._outside = ExcursionBook()
        self._air_before = self.air.celsius
        self._pending: deque[Sample] = deque()
        self._ahead: list[tuple[int, int, SimFault | Chore, bool]] = []
        self._booked = 0
        self._room_faults: list[SimFault] = []
        self._swaps: dict[tuple[str, Quantity], str] = {}
        # each place has its own moment within the period, as boards in a real room do
        random = Random(f"{seed}/phases")
        self._jitter = Random(f"{seed}/jitter")
        self._phases = {place: random.uniform(0.05, 0.95) for place in [*self.tanks, ROOM]}

    @staticmethod
    def random_room(seed: int, tanks: int = 24, **more: Any) -> "SimRoom":
        """A room drawn by seed, with labelled faults; see `random_room.random_room`."""
        from roewatch_sim.random_room import random_room  # noqa: PLC0415, it is built on this

        return random_room(seed, tanks, **more)

    @property
    def every_ms(self) -> int:
        """How often each probe speaks. It may be changed at any time."""
        return self._every_ms

    @every_ms.setter
    def every_ms(self, every_ms: int) -> None:
        if every_ms <= 0:
            raise ValueError(f"every_ms is {every_ms}; probes must speak after some time")
        self._every_ms = every_ms
        self._steps_per_sample = -(-every_ms // _LONGEST_STEP_MS)
        self._step_ms = every_ms // self._steps_per_sample
        self._steps = 0

    def inject(self, fault: SimFault) -> None:
        """Let `fault` happen, now or later; one dated in the past begins at once.

        Raises KeyError for a tank or a probe that is not there.
        """
        if fault.kind is FaultKind.PROBE_SWAPPED and not fault.other:
            fault = replace(fault, other=self._neighbour(fault.tank, fault.probe_quantity))
        self._check(fault)
        self.labels.append(fault)
        self._book(fault.at_ms, fault, begins=True)
        if fault.lasts_until_ms is not None:
            self._book(fault.lasts_until_ms, fault, begins=False)

    def plan_chore(self, chore: Chore) -> None:
        """Let the keeper do `chore` at its moment."""
        if chore.tank not in self.tanks:
            raise KeyError(f"no tank {chore.tank!r}; there are: {', '.join(self.tanks)}")
        self._book(chore.at_ms, chore, begins=True)

    def plan_calibration(self, chore: Calibrating) -> None:
        """Let the keeper calibrate: buffers first, which is no fault and gets no label."""
        self.plan_chore(chore)
        buffers = SimFault(
            FaultKind.PROBE_BUFFER, chore.tank, chore.at_ms,
            chore.at_ms + round(chore.minutes * MINUTE_MS), quantity=chore.quantity,
        )  # fmt: skip
        self._check(buffers)
        self._book(buffers.at_ms, buffers, begins=True)
        self._book(buffers.at_ms + round(chore.minutes * MINUTE_MS), buffers, begins=False)

    def run(self, to_ms: int) -> Iterator[Sample]:
        """Samples from where it stands up to, not including, `to_ms`, in order of event time."""
        while True:
            pending = self._pending
            while pending and pending[0].at_ms < to_ms:
                yield pending.popleft()
            if pending or self.clock_ms >= to_ms:
                return
            self._advance()

    def truth(self, tank: str) -> Truth:
        """What is really so in `tank` at `clock_ms`."""
        found = self.tanks[tank]
        heat, water = found.heat, found.water
        return Truth(
            at_ms=self.clock_ms, celsius=heat.water_c, ph=found.ph,
            conductivity=water.conductivity, heater_on=heat.heating, set_c=heat.set_c,
            room_c=self.air.celsius, alkalinity=water.alkalinity, co2=water.co2,
            litres=water.litres, aerated=water.aerated,
        )  # fmt: skip

    @property
    def excursions(self) -> list[Excursion]:
        """When the true water was outside its window, so far, in order of time."""
        return self._outside.all

    def exits_of(self, fault: SimFault) -> list[Excursion]:
        """When the true water left a window while `fault` lasted, so far; in order of time."""
        until_ms = fault.lasts_until_ms or self.clock_ms
        if fault.pouring_ms:  # what was poured in is mixed within a few minutes more
            until_ms = max(until_ms, fault.at_ms + fault.pouring_ms + 10 * MINUTE_MS)
        return [
            out
            for out in self.excursions
            if fault.at_ms <= out.from_ms <= until_ms and (out.tank == fault.tank or not fault.tank)
        ]

    def exit_ms(
        self, tank: str, quantity: Quantity, *, within_ms: int, window: Window | None = None
    ) -> int | None:
        """When the true water will leave its window if nobody lifts a hand; None if not in time.

        Found by letting a copy of the tank and the air go on, weather and all.
        """
        band = window or self.tanks[tank].spec.windows[quantity]
        copy, air = deepcopy((self.tanks[tank], self.air))
        at_ms, span_s = self.clock_ms, self._step_ms / 1000
        while True:
            value = copy.heat.water_c if quantity is Quantity.TEMPERATURE else copy.ph
            if band.outside_by(value):
                return at_ms
            if at_ms >= self.clock_ms + within_ms:
                return None
            at_ms += self._step_ms
            air.advance(at_ms, span_s)
            copy.advance(at_ms, span_s, air.celsius, light=self._light(at_ms))

    def _check(self, fault: SimFault) -> None:
        for tank in (fault.tank, fault.other):
            if tank not in ("", ROOM) and tank not in self.tanks:
                raise KeyError(f"no tank {tank!r}; there are: {', '.join(self.tanks)}")
        self._probes_of(fault)

    def _neighbour(self, tank: str, quantity: Quantity) -> str:
        """The next tank, round the room, that has such a probe."""
        names = list(self.tanks)
        after = names.index(tank) + 1 if tank in names else 0
        for name in [*names[after:], *names[:after]]:
            if name != tank and quantity in self.tanks[name].spec.quantities:
                return name
        raise KeyError(f"no other tank than {tank} has a {quantity} probe")

    def _book(self, at_ms: int, what: SimFault | Chore, *, begins: bool) -> None:
        self._booked += 1
        heappush(self._ahead, (at_ms, self._booked, what, begins))

    def _light(self, at_ms: int) -> bool:
        return _LIGHT_FROM_H <= self.air.hour(at_ms) < _LIGHT_TO_H

    def _advance(self) -> None:
        """One step of physics, and its samples when it is time for them."""
        while self._ahead and self._ahead[0][0] <= self.clock_ms:
            _, _, what, begins = heappop(self._ahead)
            if isinstance(what, SimFault):
                self._strike(what, begins=begins)
            else:
                entry = what.do(self.tanks[what.tank], self.clock_ms)
                if entry is not None:
                    self.journal.append(entry)
        self.clock_ms += self._step_ms
        at_ms, span_s = self.clock_ms, self._step_ms / 1000
        self._air_before = self.air.celsius
        self.air.advance(at_ms, span_s)
        room_c, light = self.air.celsius, self._light(at_ms)
        hour_over = at_ms // HOUR_MS != (at_ms - self._step_ms) // HOUR_MS
        outside = self._outside
        for tank in self.tanks.values():
            tank.advance(at_ms, span_s, room_c, light=light)
            if hour_over:
                tank.water.age(1.0)
            outside.look(tank.id, tank.spec.windows, tank.heat.water_c, tank.ph, at_ms)
        self._steps += 1
        if self._steps % self._steps_per_sample == 0:
            self._sample()

    def _sample(self) -> None:
        """What every probe says within the step just made."""
        step_ms, begun_ms, room_c = self._step_ms, self.clock_ms - self._step_ms, self.air.celsius
        wander = self._jitter.uniform
        said: list[Sample] = []
        for tank in self.tanks.values():
            share = self._phases[tank.id] + wander(-0.04, 0.04)
            at_ms = begun_ms + int(share * step_ms)
            share = (at_ms - begun_ms) / step_ms
            now_c = tank.heat.water_c
            water_c = tank.celsius_before + share * (now_c - tank.celsius_before)
            for probe in tank.probes:
                quantity = probe.quantity
                if self._swaps and (tank.id, quantity) in self._swaps:
                    truth = self._true(self.tanks[self._swaps[tank.id, quantity]], quantity, share)
                elif quantity is Quantity.TEMPERATURE:
                    truth = water_c
                else:
                    truth = self._true(tank, quantity, share)
                value = probe.read(at_ms, truth, room_c, water_c)
                if value is not None:
                    own_ms = probe.own_ms(at_ms) if probe.ailing else None
                    said.append(Sample(at_ms, tank.id, quantity, value, own_ms))
        share = self._phases[ROOM] + wander(-0.04, 0.04)
        at_ms = begun_ms + int(share * step_ms)
        air_c = self._air_before + share * (room_c - self._air_before)
        value = self.air_probe.read(at_ms, air_c, room_c, air_c)
        if value is not None:
            said.append(Sample(at_ms, ROOM, Quantity.TEMPERATURE, value))
        said.sort()
        self._pending.extend(said)

    @staticmethod
    def _true(tank: SimTank, quantity: Quantity, share: float) -> float:
        if quantity is Quantity.PH:
            return tank.ph_before + share * (tank.ph - tank.ph_before)
        if quantity is Quantity.TEMPERATURE:
            return tank.celsius_before + share * (tank.heat.water_c - tank.celsius_before)
        return tank.water.conductivity

    def _strike(self, fault: SimFault, *, begins: bool) -> None:
        """A fault takes hold, or is mended."""
        if fault.kind in OF_THE_ROOM:
            (self._room_faults.append if begins else self._room_faults.remove)(fault)
            cut = any(f.kind is FaultKind.POWER_CUT for f in self._room_faults)
            self.air.heating_allowed = not self._room_faults
            for tank in self.tanks.values():
                tank.mains = not cut
                tank.settle()
        elif fault.kind in OF_THE_PROBE:
            for probe in self._probes_of(fault):
                (probe.begin if begins else probe.end)(fault)
            if fault.kind is FaultKind.PROBE_SWAPPED:
                self._swap(fault, begins=begins)
        elif begins:
            self.tanks[fault.tank].begin(fault, self.clock_ms)
            if fault.kind is FaultKind.WATER_CHANGE:  # no fault at all: the keeper logs it
                self.journal.append(
                    JournalEntry(
                        at_ms=self.clock_ms, tank=fault.tank, deed=Deed.WATER_CHANGE,
                        until_ms=self.clock_ms + fault.pouring_ms,
                    )
                )  # fmt: skip
        else:
            self.tanks[fault.tank].end(fault)

    def _swap(self, fault: SimFault, *, begins: bool) -> None:
        quantity = fault.probe_quantity
        for one, two in ((fault.tank, fault.other), (fault.other, fault.tank)):
            if begins:
                self._swaps[one, quantity] = two
            else:
                self._swaps.pop((one, quantity), None)

    def _probes_of(self, fault: SimFault) -> list[SimProbe]:
        """The probes a fault spoils; none for faults of tank and room."""
        if fault.kind not in OF_THE_PROBE:
            return []
        if not fault.tank:  # the room's whole network
            return [self.air_probe, *(p for tank in self.tanks.values() for p in tank.probes)]
        if fault.tank == ROOM:
            return [self.air_probe]
        if fault.kind in OF_THE_CLOCK:
            return list(self.tanks[fault.tank].probes)
        return [self.tanks[fault.tank].probe(fault.probe_quantity)]
