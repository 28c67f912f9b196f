"""A heater that works is not called weak, however seldom its probe speaks; a weak one is."""

from dataclasses import replace

import pytest
from tests.judging.rooms import START, events_of, judged, kinds, room_of

from roewatch.judging.cycle import Cycle, Leg, Turn
from roewatch.judging.judge import Judge
from roewatch.judging.limits import Limits
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Room
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.room import SimRoom


def alone(name: str, seed: int, *, every_min: int) -> SimRoom:
    """One tank of The Boathouse with its thermometer, in that seed's room and with its noise."""
    spec = boathouse(seed, START).tanks[name].spec
    only = replace(spec, quantities=(Quantity.TEMPERATURE,))
    return SimRoom([only], seed=seed, start_ms=START, every_ms=every_min * MINUTE_MS)


def found_in(sim: SimRoom, *, hours: float) -> list[str]:
    return kinds(judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=hours)))


@pytest.mark.parametrize("seed", [13, 22])
def test_a_strong_heater_in_a_slow_tank_is_not_called_weak(seed: int) -> None:
    # on for 25 minutes after falls of hours, whose end the noise hides by a quarter of an hour
    assert found_in(alone("B2", seed, every_min=2), hours=40) == []


def test_one_odd_leg_of_single_readings_is_no_weak_heater() -> None:
    assert found_in(alone("B2", 24, every_min=5), hours=200) == []


@pytest.mark.parametrize("every_min", [1, 2, 5])
def test_a_heater_with_a_third_of_its_power_is_called_weak(every_min: int) -> None:
    sim = alone("B2", 13, every_min=every_min)
    weak_ms = START + 40 * HOUR_MS
    sim.inject(SimFault(FaultKind.HEATER_WEAK, "B2", weak_ms, weak_ms + 48 * HOUR_MS))
    assert found_in(sim, hours=60) == ["B2 heater-weak"]


def shown(*per_h: float) -> Cycle:
    """A cycle that has seen rises of these rates."""
    cycle = Cycle(Limits())
    for n, rate in enumerate(per_h):
        at_ms = START + n * HOUR_MS
        cycle.learn(Turn(True, at_ms, 26.0, Leg(at_ms, HOUR_MS // 2, rate, None)))
    return cycle


def test_few_or_scattered_legs_leave_more_to_chance_than_many_even_ones() -> None:
    even, scattered = shown(*[1.0] * 8), shown(1.4, 0.6, 1.3, 0.7, 1.4, 0.6, 1.3, 0.7)
    few, many = (even.doubtful(rising=True, legs=n) for n in (2, 12))
    assert many < few < scattered.doubtful(rising=True, legs=2)


def test_a_stronger_heater_in_the_settings_is_learned_anew() -> None:
    sim = alone("B4", 3, every_min=1)
    before = room_of(sim)
    judge = Judge(before, start_ms=START)
    judged(judge, events_of(sim, hours=24))
    assert judge.learned("B4").warms_per_h is not None
    judge.reconfigure(with_watts(before, 100))
    assert judge.learned("B4").cycles == 0


def test_a_heater_changed_while_the_daemon_was_down_is_learned_anew() -> None:
    sim = alone("B4", 3, every_min=1)
    judge = Judge(room_of(sim), start_ms=START)
    judged(judge, events_of(sim, hours=24))
    states = judge.changed_states()
    same, other = Judge(room_of(sim)), Judge(with_watts(room_of(sim), 100))
    assert same.restore(states) == other.restore(states) == []
    assert same.learned("B4") == judge.learned("B4")
    assert other.learned("B4").cycles == 0


def with_watts(room: Room, watts: float) -> Room:
    return replace(room, tanks=tuple(replace(tank, heater_watts=watts) for tank in room.tanks))


def test_a_lid_left_off_for_days_is_the_tanks_new_way() -> None:
    sim = alone("A3", 2, every_min=1)
    off_ms = START + 40 * HOUR_MS
    sim.inject(SimFault(FaultKind.LID_OPEN, "A3", off_ms))
    judge = Judge(room_of(sim), start_ms=START)
    findings = judged(judge, events_of(sim, hours=40 + 24 * 7))
    lid = [finding for finding in findings if finding.kind is Kind.LID_OPEN]
    assert [finding.present for finding in lid] == [True, False]
    assert "taken as the tank's new way" in lid[-1].message
    learned = judge.learned("A3")
    assert learned.cools_per_h is not None  # and it knows the tank again
