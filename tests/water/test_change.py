"""Water changes, evaporation and top-up."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.water import change
from roewatch.water.refusal import RefusedError

# times, fraction, per cent of the old water left; plain arithmetic of (1 - f)^n
LEFT = [(1, 0.5, 50.0), (2, 0.25, 56.25), (3, 0.5, 12.5), (5, 0.2, 32.77), (10, 0.1, 34.87)]


@pytest.mark.parametrize(("times", "fraction", "percent"), LEFT)
def test_changes_leave_what_the_table_says(times: int, fraction: float, percent: float) -> None:
    left = change.after_changes(now=100.0, source=0.0, fraction=fraction, times=times)
    assert left == pytest.approx(percent, abs=0.005)


def test_dripping_one_volume_leaves_37_percent() -> None:
    # e^-1, the continuous limit of (1 - f)^n
    left = change.after_drip(now=100.0, source=0.0, litres_in=60.0, litres=60.0)
    assert left == pytest.approx(36.79, abs=0.005)


@given(st.floats(0.5, 20), st.floats(0.0, 0.4), st.floats(0.05, 0.6), st.floats(0.05, 0.95))
def test_the_changes_needed_reach_and_one_fewer_does_not(
    now: float, source: float, fraction: float, share: float
) -> None:
    wanted = source + (now - source) * share
    times = change.changes_needed(now=now, source=source, wanted=wanted, fraction=fraction)
    reached = change.after_changes(now=now, source=source, fraction=fraction, times=times)
    assert reached <= wanted + 1e-6 * now
    if times > 0:
        fewer = change.after_changes(now=now, source=source, fraction=fraction, times=times - 1)
        assert fewer > wanted - 1e-6 * now


@pytest.mark.parametrize("wanted", [1.0, 2.0, 7.0])
def test_a_source_that_cannot_reach_is_said_so(wanted: float) -> None:
    with pytest.raises(RefusedError, match="can never bring"):
        change.changes_needed(now=6.0, source=2.0, wanted=wanted, fraction=0.3)


def test_the_steady_state_is_what_many_changes_end_in() -> None:
    after, before = change.steady_state(source=5.0, gain=10.0, fraction=0.25)
    value = 5.0
    for _ in range(200):
        value = change.after_changes(now=value + 10.0, source=5.0, fraction=0.25)
    assert value == pytest.approx(after)
    assert value + 10.0 == pytest.approx(before)


def test_a_week_without_topping_up_an_open_20_litre_tank_adds_15_percent() -> None:
    # 0.37 L a day from 0.10 m² at 25 °C water, 20 °C and 60 % air: 20 / 17.4
    grown = change.concentrated(now=100.0, litres=20.0, lost=7 * 0.37)
    assert grown == pytest.approx(115.0, abs=0.5)


def test_a_lost_half_tank_is_a_leak() -> None:
    with pytest.raises(RefusedError, match="leak"):
        change.concentrated(now=100.0, litres=20.0, lost=10.0)


@given(st.floats(1, 500), st.floats(10, 200), st.floats(0.0, 0.4))
def test_topping_up_with_pure_water_brings_the_value_back(
    now: float, litres: float, share: float
) -> None:
    lost = litres * share
    dry = change.concentrated(now=now, litres=litres, lost=lost)
    topped = change.after_changes(now=dry, source=0.0, fraction=lost / litres)
    assert topped == pytest.approx(now)
