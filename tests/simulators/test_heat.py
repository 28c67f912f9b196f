"""A simulated tank's heat against figures worked out outside the simulator."""

import itertools
from math import exp, log

import pytest

from roewatch_sim.heat import HeatSpec, TankHeat, propagator

# walls, base and cover of a 20 L tank 40x25x20 cm: 0.26 m2 x 7.194 + 0.10 x 3.150 + 0.10 x 6.494
LOSS_20_L = 0.26 * 7.194 + 0.10 * 3.150 + 0.10 * 6.494
ONE_NODE = HeatSpec(litres=20, heater_watts=50, loss_w_per_k=LOSS_20_L, glass_share=0.0)
TWO_NODES = HeatSpec(litres=20, heater_watts=50, loss_w_per_k=LOSS_20_L)


def tank(spec: HeatSpec = ONE_NODE, *, water_c: float, set_c: float = 26.0) -> TankHeat:
    return TankHeat(spec, set_c=set_c, half_band=0.5, water_c=water_c)


def hours_until(heat: TankHeat, room_c: float, celsius: float) -> float:
    """Hours in steps of a minute until the water has passed `celsius`."""
    rising = heat.water_c < celsius
    for minute in range(100 * 60):
        if (heat.water_c >= celsius) is rising:
            return minute / 60
        heat.advance(room_c, 60)
    raise AssertionError(f"never reached {celsius}")


def test_a_covered_20_litre_tank_has_a_time_constant_of_8_19_hours() -> None:
    # trade notes, check value 16: 83 600 J/K over 2.835 W/K
    assert ONE_NODE.time_constant_h == pytest.approx(8.19, abs=0.02)


def test_with_a_dead_heater_20_litres_cool_from_26_to_23_in_a_20_degree_room_in_5_68_hours() -> (
    None
):
    # trade notes, check value 17: 8.19 h x ln(6/3)
    heat = tank(water_c=26.0)
    heat.jam = False
    assert hours_until(heat, 20.0, 23.0) == pytest.approx(5.68, abs=0.02)


def test_50_watts_stuck_on_in_20_litres_and_a_20_degree_room_end_at_37_6_degrees() -> None:
    # trade notes, check value 18: room + P / UA
    heat = tank(water_c=26.0)
    heat.jam = True
    for _ in range(24 * 7):
        heat.advance(20.0, 3600)
    assert heat.water_c == pytest.approx(37.6, abs=0.1)


def test_50_watts_stuck_on_reach_33_degrees_after_about_eight_hours() -> None:
    # trade notes, section 7: "rising 1.54 °C/h at first, 33 °C after 8.2 h"; from 25, room 20
    heat = tank(water_c=25.0)
    heat.jam = True
    heat.advance(20.0, 60)
    assert (heat.water_c - 25.0) * 60 == pytest.approx(1.54, abs=0.02)
    assert hours_until(heat, 20.0, 33.0) == pytest.approx(8.2, abs=0.1)


def test_the_thermostat_of_check_value_19_has_a_period_of_137_minutes() -> None:
    # trade notes, check value 19: 50 W, 20 L, band 1.0 °C, 5 K above the room; 39 on, 98 off
    heat = tank(water_c=24.5, set_c=25.0)
    states = []
    for _ in range(24 * 60):
        heat.advance(20.0, 60)
        states.append(heat.heating)
    starts = [n for n, (a, b) in enumerate(itertools.pairwise(states)) if b and not a]
    periods = [b - a for a, b in itertools.pairwise(starts)]
    # the source divides by the mean loss; the exponential is a little longer
    exact = 60 * 83_600 / LOSS_20_L / 3600 * (
        log((25.5 - 20) / (24.5 - 20))
        + log((20 + 50 / LOSS_20_L - 24.5) / (20 + 50 / LOSS_20_L - 25.5))
    )  # fmt: skip
    assert exact == pytest.approx(137, abs=1.5)
    assert sum(periods) / len(periods) == pytest.approx(exact, abs=1.0)


def test_the_thermostat_switches_within_the_step_not_at_its_end() -> None:
    coarse, fine = tank(water_c=24.9), tank(water_c=24.9)
    hottest = -273.15
    for _ in range(24 * 60):
        coarse.advance(20.0, 60)
        hottest = max(hottest, coarse.water_c)
    for _ in range(24 * 720):
        fine.advance(20.0, 5)
    assert hottest <= 26.5 + 1e-9
    assert coarse.water_c == pytest.approx(fine.water_c, abs=0.002)


def test_two_nodes_agree_with_a_small_step_integration_of_their_equations() -> None:
    spec, room_c = TWO_NODES, 20.0
    store = spec.water_j_per_k
    link = store * spec.glass_share / spec.glass_lag_s
    water = glass = 26.0
    water += 3.0  # warm water poured in: the glass lags
    heat = tank(spec, water_c=26.0)
    heat.water_c, heat.jam = 29.0, False
    dt = 0.5
    for _ in range(int(3600 / dt)):  # explicit Euler, written from the equations in the docstring
        flow = link * (water - glass)
        water += dt * (-spec.loss_w_per_k * (water - room_c) - flow) / store
        glass += dt * flow / (store * spec.glass_share)
    heat.advance(room_c, 3600)
    assert heat.water_c == pytest.approx(water, abs=2e-4)
    assert heat.glass_c == pytest.approx(glass, abs=2e-4)


def test_two_nodes_cool_in_the_end_as_one_with_all_the_heat_would_roughly() -> None:
    # when the glass keeps up, the pair decays with (Cw + Cg) / UA, a little slower
    heat = tank(TWO_NODES, water_c=26.0)
    heat.jam = False
    for _ in range(10):
        heat.advance(20.0, 3600)
    one_node = 20 + 6 * exp(-10 / TWO_NODES.time_constant_h)
    assert heat.water_c == pytest.approx(one_node, abs=0.1)


def test_a_step_is_the_same_as_two_half_steps() -> None:
    whole = propagator(TWO_NODES, LOSS_20_L, 600)
    half = propagator(TWO_NODES, LOSS_20_L, 300)
    a, b, c, d = half
    twice = (a * a + b * c, a * b + b * d, c * a + d * c, c * b + d * d)
    assert twice == pytest.approx(whole, rel=1e-12)


def test_a_tank_without_water_is_refused() -> None:
    with pytest.raises(ValueError, match="litres"):
        HeatSpec(litres=0, heater_watts=50, loss_w_per_k=2)
