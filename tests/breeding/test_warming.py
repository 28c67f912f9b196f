"""Warming: heaters, time constants and what a failed one does."""

import pytest

from roewatch.breeding import warming
from roewatch.water.refusal import RefusedError

# litres, covered W/K, time constant h, W for 5 K, °C lost in the first hour at 5 K; open: h.
# Source: still-air films (0.13 m²K/W), 4 mm glass, 18 mm board under the base, reckoned per face.
TANKS = [
    (10, 1.78, 6.5, 8.9, 0.71, 3.7), (20, 2.83, 8.2, 14.2, 0.57, 4.5),
    (30, 3.68, 9.5, 18.4, 0.50, 5.4), (40, 4.52, 10.3, 22.6, 0.46, 5.8),
    (60, 6.05, 11.5, 30.3, 0.42, 6.9),
]  # fmt: skip


@pytest.mark.parametrize(("litres", "loss", "hours", "watts", "first", "open_hours"), TANKS)
def test_a_tank_loses_heat_as_its_faces_say(
    litres: float, loss: float, hours: float, watts: float, first: float, open_hours: float
) -> None:
    covered = warming.reckoned(litres=litres, watts=50, room_celsius=20, covered=True)
    bare = warming.reckoned(litres=litres, watts=50, room_celsius=20, covered=False)
    assert covered.loss == pytest.approx(loss, rel=0.03)
    assert covered.time_constant_h == pytest.approx(hours, rel=0.03)
    assert covered.watts_needed(25.0) == pytest.approx(watts, rel=0.03)
    assert 25.0 - covered.after(1.0, celsius=25.0, heating=False) == pytest.approx(first, rel=0.04)
    assert bare.time_constant_h == pytest.approx(open_hours, rel=0.04)


def test_a_heater_stuck_on_in_20_litres_passes_33_degrees_after_8_hours() -> None:
    # 50 W, room 20: settles at 37.6, 33 °C after 8.2 h from 25 °C, by the same heat balance
    tank = warming.Warmth(litres=20, watts=50, room_celsius=20, loss=2.835)
    assert tank.warmest == pytest.approx(37.6, abs=0.05)
    assert tank.hours_to(33.0, celsius=25.0) == pytest.approx(8.2, abs=0.2)


def test_a_dead_heater_takes_20_litres_from_26_to_23_in_under_six_hours() -> None:
    # 8.19 h x ln(6/3) = 5.7 h
    tank = warming.Warmth(litres=20, watts=50, room_celsius=20, loss=2.835)
    assert tank.hours_to(23.0, celsius=26.0) == pytest.approx(5.7, abs=0.05)


def test_a_warmth_out_of_reach_says_what_is_reached() -> None:
    tank = warming.Warmth(litres=20, watts=10, room_celsius=20, loss=2.835)
    with pytest.raises(RefusedError, match="reaches 23\\.5\u00a0°C"):
        tank.hours_to(26.0, celsius=22.0)
    with pytest.raises(RefusedError, match="Cover the tank"):
        warming.cautions(tank, wanted=26.0)
    with pytest.raises(RefusedError, match="cannot cool"):
        warming.cautions(tank, wanted=19.0)


def test_a_heater_strong_enough_to_cook_is_warned_of() -> None:
    tank = warming.Warmth(litres=20, watts=100, room_celsius=20, loss=2.835)
    assert any("Stuck on" in caution for caution in warming.cautions(tank, wanted=26.0))


def test_a_learned_time_constant_is_given_back() -> None:
    tank = warming.learned(litres=20, watts=50, room_celsius=20, time_constant_h=6.0)
    assert tank.time_constant_h == pytest.approx(6.0)
