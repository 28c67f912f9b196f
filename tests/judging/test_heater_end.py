"""A heater that cannot switch off: the alarm says where the water would end."""

import re

import pytest
from tests.judging.rooms import START, events_of, judged, room_of

from roewatch.judging.judge import Judge
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault


def test_the_alarm_of_a_heater_stuck_on_says_where_the_water_ends() -> None:
    sim = boathouse(4, START)
    sim.inject(SimFault(FaultKind.HEATER_STUCK_ON, "B4", START + 40 * HOUR_MS))
    found = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=44))
    told = next(f for f in found if f.kind is Kind.HEATER_STUCK_ON and f.present)
    said = re.search(r"left alone it ends at about (\d+)\u00a0°C", told.message)
    assert said is not None
    heat = sim.tanks["B4"].spec.heat
    rest = sim.air.celsius + heat.heater_watts / heat.loss_w_per_k  # the simulator's own law
    assert float(said[1]) == pytest.approx(rest, abs=2.5)
