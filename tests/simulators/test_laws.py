"""Laws no simulated room may break, whatever is done to it."""

from math import isfinite

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import OF_THE_ROOM, FaultKind, SimFault
from roewatch_sim.heat import HeatSpec, TankHeat

START_MS = 1_764_028_800_000


@st.composite
def faults(draw: st.DrawFn) -> SimFault:
    kind = draw(st.sampled_from(list(FaultKind)))
    at_ms = START_MS + draw(st.integers(-10, 170)) * MINUTE_MS
    lasts = draw(st.none() | st.integers(1, 120))
    return SimFault(
        kind,
        "" if kind in OF_THE_ROOM else draw(st.sampled_from(["A1", "A3", "B1", "B6"])),
        at_ms,
        None if lasts is None else at_ms + lasts * MINUTE_MS,
        quantity=draw(st.sampled_from([None, Quantity.TEMPERATURE, Quantity.PH])),
    )


@settings(max_examples=25, deadline=None)
@given(st.lists(faults(), max_size=6))
def test_any_faults_together_leave_a_room_that_goes_on_and_makes_sense(
    struck: list[SimFault],
) -> None:
    room = boathouse(1, START_MS)
    for fault in struck:
        room.inject(fault)
    samples = list(room.run(START_MS + 3 * HOUR_MS))
    assert samples == sorted(samples)
    assert len({(s.at_ms, s.tank, s.quantity) for s in samples}) == len(samples)
    assert all(isfinite(sample.value) for sample in samples)
    for tank in room.tanks:
        truth = room.truth(tank)
        assert 0 < truth.celsius < 60
        assert 2 < truth.ph < 11
        assert truth.co2 > 0


@settings(max_examples=20, deadline=None)
@given(
    struck=st.lists(faults(), max_size=3),
    cuts=st.lists(st.integers(1, 3 * HOUR_MS), max_size=6).map(sorted),
)
def test_where_a_run_is_cut_changes_nothing_that_is_said(
    struck: list[SimFault], cuts: list[int]
) -> None:
    whole, pieces = boathouse(1, START_MS), boathouse(1, START_MS)
    for fault in struck:
        whole.inject(fault)
        pieces.inject(fault)
    end_ms = START_MS + 3 * HOUR_MS
    said = [s for cut in [*cuts, 3 * HOUR_MS] for s in pieces.run(START_MS + cut)]
    assert said == list(whole.run(end_ms))


@given(
    litres=st.floats(5, 300),
    watts=st.floats(0, 500),
    loss=st.floats(0.5, 20),
    share=st.sampled_from([0.0, 0.1, 0.3]),
    set_c=st.floats(20, 32),
    start_c=st.floats(10, 38),
    jam=st.sampled_from([None, True, False]),
)
def test_water_stays_between_the_room_and_what_its_heater_can_hold(
    litres: float,
    watts: float,
    loss: float,
    share: float,
    set_c: float,
    start_c: float,
    jam: bool | None,
) -> None:
    spec = HeatSpec(litres=litres, heater_watts=watts, loss_w_per_k=loss, glass_share=share)
    heat = TankHeat(spec, set_c=set_c, half_band=0.25, water_c=start_c)
    heat.jam = jam
    for _ in range(600):
        heat.advance(18.0, 60.0)
        assert min(start_c, 18.0) - 1e-9 <= heat.water_c
        assert heat.water_c <= max(start_c, 18.0 + watts / loss) + 1e-9


@settings(max_examples=30, deadline=None)
@given(st.floats(20, 30), st.floats(0.1, 1.0))
def test_a_strong_enough_heater_keeps_the_water_in_its_band(set_c: float, half_band: float) -> None:
    spec = HeatSpec(litres=40, heater_watts=150, loss_w_per_k=4.5)
    heat = TankHeat(spec, set_c=set_c, half_band=half_band, water_c=set_c)
    for _ in range(1000):
        heat.advance(18.0, 60.0)
        assert heat.water_c == pytest.approx(set_c, abs=half_band + 0.03)
