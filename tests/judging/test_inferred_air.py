"""A room without a probe in its air: its tanks tell how cold it is."""

from functools import cache
from itertools import pairwise
from statistics import median
from typing import NamedTuple

import pytest
from tests.judging.rooms import START, Event, events_of, judged, kinds, room_of

from roewatch.judging.finding import Finding
from roewatch.judging.inferred_air import usual_time_constant_h
from roewatch.judging.judge import Judge, Learned
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM, Room, Tank
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.room import SimRoom

COLD_H = 60

# litres, covered, hours: the shared notes' table of heat losses, water alone; 18 % more for glass
BY_SIZE = [
    (10, True, 6.5), (20, True, 8.2), (30, True, 9.5), (40, True, 10.3), (60, True, 11.5),
    (10, False, 3.7), (20, False, 4.5), (30, False, 5.4), (40, False, 5.8), (60, False, 6.9),
]  # fmt: skip


def without_probe(room: Room) -> Room:
    """The same room with nothing in its air."""
    probes = tuple(probe for probe in room.probes if probe.tank != ROOM)
    return Room(id=room.id, name=room.name, zone=room.zone, tanks=room.tanks, probes=probes)


def of_tanks(events: list[Event]) -> list[Event]:
    return [e for e in events if not (isinstance(e, Reading) and e.probe == "room-temperature")]


class Played(NamedTuple):
    """Three days and a half of a room that loses its heating on the third; what was found.

    before: what was known of a tank just before that; air_c: what the air really was by then.
    """

    sim: SimRoom
    judge: Judge
    found: list[Finding]
    before: Learned
    air_c: float


@cache
def played() -> Played:
    sim = boathouse(3, START, every_ms=2 * MINUTE_MS)
    cold_ms = START + COLD_H * HOUR_MS
    sim.inject(SimFault(FaultKind.ROOM_COLD, "", cold_ms, cold_ms + 14 * HOUR_MS))
    judge = Judge(without_probe(room_of(sim)), start_ms=START)
    found = judged(judge, of_tanks(events_of(sim, hours=COLD_H - 1)))
    last = events_of(sim, hours=1)
    air_c = median(e.raw for e in last if isinstance(e, Reading) and e.probe == "room-temperature")
    found += judged(judge, of_tanks(last))
    before = judge.learned("A3")
    found += judged(judge, of_tanks(events_of(sim, hours=18)))
    return Played(sim, judge, found, before, air_c)


@pytest.mark.parametrize(("litres", "covered", "hours"), BY_SIZE)
def test_a_tank_holds_its_warmth_as_its_size_and_lid_let_it(
    litres: float, covered: bool, hours: float
) -> None:
    tank = Tank(id="A1", litres=litres, covered=covered)
    assert usual_time_constant_h(tank) == pytest.approx(1.18 * hours, rel=0.04)


def test_bigger_tanks_hold_it_longer() -> None:
    constants = [usual_time_constant_h(Tank(id="A1", litres=n)) for n in range(5, 200, 5)]
    assert all(small < big for small, big in pairwise(constants))


def test_the_air_lies_within_what_the_tanks_say_of_it() -> None:
    before = played().before
    assert before.room_c is not None
    assert 0.3 <= before.room_spread <= 3.0
    assert abs(before.room_c - played().air_c) <= before.room_spread


def test_a_room_that_loses_its_heating_is_found_without_a_probe() -> None:
    cold = [f for f in played().found if f.tank == ROOM and f.present]
    assert [str(f.kind) for f in cold][:1] == ["room-heating-lost"]
    assert COLD_H * HOUR_MS < cold[0].at_ms - START < (COLD_H + 10) * HOUR_MS
    assert "by the cooling of" in cold[0].message


def test_nothing_else_is_told_of_it() -> None:
    said = [word for word in kinds(played().found) if "works-harder" not in word]
    assert said == ["room room-heating-lost"]


def test_what_the_tanks_told_survives_a_restart() -> None:
    again = Judge(without_probe(room_of(played().sim)))
    assert again.restore(played().judge.changed_states()) == []
    assert again.learned("A3") == played().judge.learned("A3")
