"""Switch points are learned from the tank as it is meant to be, and anew when it is changed."""

from dataclasses import replace

import pytest
from tests.judging.rooms import START, events_of, fold, judged, kinds, minutes, one_tank, room_of

from roewatch.judging.judge import Judge
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.keeper import WaterChange
from roewatch_sim.room import SimRoom


def cycles(low: float, high: float, *, hours: float) -> list[float]:
    """A thermostat's zigzag by minutes: 0.6 °C/h down with the heater off, 1.2 °C/h up with it."""
    values: list[float] = []
    value, heating = high, False
    while len(values) < hours * 60:
        value += 0.02 if heating else -0.01
        heating = value < low if not heating else value <= high
        values.append(round(value * 16) / 16)
    return values


def test_a_thermostat_turned_is_its_new_setting_after_a_day_however_often_it_switches() -> None:
    judge = one_tank()
    said = cycles(26.2, 26.6, hours=48) + cycles(27.4, 27.8, hours=30)
    moved = [f for f in fold(judge, minutes(said)) if f.kind is Kind.THERMOSTAT_MOVED]
    assert [f.present for f in moved] == [True, False]
    assert "new setting" in moved[-1].message
    assert judge.learned("A1").switches_on == pytest.approx(27.4, abs=0.1)


def test_a_heater_that_stays_on_is_seen_soon_after_a_new_setting_was_learned() -> None:
    judge = one_tank()
    fold(judge, minutes(cycles(25.4, 25.8, hours=48) + cycles(26.6, 27.0, hours=27)))
    rising = [26.8 + 0.01 * n for n in range(120)]
    assert kinds(fold(judge, minutes(rising, first=75 * 60))) == ["A1 heater-stuck-on"]


def test_a_cycle_gone_wide_is_not_learned_while_the_rates_are_learned_anew() -> None:
    judge = one_tank()
    found = fold(judge, minutes(cycles(26.2, 26.6, hours=48) + cycles(25.8, 27.4, hours=8)))
    assert "A1 cycle-too-wide" in kinds(found)
    larger = tuple(replace(tank, litres=40) for tank in judge.room.tanks)
    judge.reconfigure(replace(judge.room, tanks=larger))
    wide = fold(judge, minutes(cycles(25.8, 27.4, hours=30), first=56 * 60))
    assert [f for f in wide if not f.present and f.kind is Kind.CYCLE_TOO_WIDE] == []
    after = fold(judge, minutes(cycles(26.2, 26.6, hours=12), first=86 * 60))
    assert [f.kind for f in after] == [Kind.CYCLE_TOO_WIDE]
    assert not after[0].present
    assert judge.learned("A1").switches_on == pytest.approx(26.2, abs=0.1)


@pytest.mark.parametrize(("name", "seed"), [("A2", 3), ("A5", 5), ("B1", 5), ("B1", 8)])
def test_water_changed_slowly_is_no_lid_left_off_and_no_weak_heater(name: str, seed: int) -> None:
    spec = boathouse(seed, START).tanks[name].spec
    sim = SimRoom([spec], seed=seed, start_ms=START, every_ms=2 * MINUTE_MS)
    for n in range(5):
        at_ms = START + DAY_MS + n * 7 * HOUR_MS
        sim.plan_chore(WaterChange(at_ms=at_ms, tank=name, share=0.23, cooler_k=2.4, minutes=28))
    assert kinds(judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=60))) == []


def test_how_a_tank_cools_is_not_learned_in_a_room_without_heating() -> None:
    specs = [boathouse(12, START).tanks[name].spec for name in ("A3", "B1", "B2", "B5")]
    sim = SimRoom(specs, seed=12, start_ms=START, every_ms=2 * MINUTE_MS)
    cold_ms = START + 2 * DAY_MS
    sim.inject(SimFault(FaultKind.ROOM_COLD, "", cold_ms, cold_ms + 20 * HOUR_MS))
    judge = Judge(room_of(sim), start_ms=START)
    judged(judge, events_of(sim, hours=48))
    before = {spec.id: judge.learned(spec.id).cools_per_h for spec in specs}
    judged(judge, events_of(sim, hours=20))
    for name, cools in before.items():
        assert judge.learned(name).cools_per_h == pytest.approx(cools, rel=0.35)
