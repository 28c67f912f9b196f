"""The demo's clock: fast, and never ahead of the tanks it is the clock of."""

import pytest

from roewatch.room.moment import MINUTE_MS
from roewatch.service.clock import LedClock


class Ticking:
    """Real seconds, as the test wills."""

    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        return self.s


def test_the_clock_runs_fast_while_the_tanks_are_heard() -> None:
    real = Ticking()
    clock = LedClock(0, 600.0, MINUTE_MS, real)
    for step in range(1, 11):
        real.s += 0.05
        goal_ms = clock.goal_ms()
        assert goal_ms == pytest.approx(step * 30_000, abs=step)
        assert clock.now_ms() < goal_ms
        clock.heard(goal_ms)
        assert clock.now_ms() == goal_ms


def test_the_clock_waits_for_tanks_that_lag_and_makes_up_no_time() -> None:
    real = Ticking()
    clock = LedClock(0, 600.0, MINUTE_MS, real)
    real.s += 30
    assert (clock.now_ms(), clock.goal_ms()) == (0, MINUTE_MS)
    clock.heard(MINUTE_MS)
    assert (clock.now_ms(), clock.goal_ms()) == (MINUTE_MS, MINUTE_MS)
    real.s += 0.05
    assert clock.goal_ms() == pytest.approx(MINUTE_MS + 30_000, abs=1)


def test_the_clock_never_goes_back() -> None:
    clock = LedClock(MINUTE_MS, 600.0, MINUTE_MS, Ticking())
    clock.heard(0)
    assert clock.now_ms() == MINUTE_MS


def test_a_speed_that_would_stop_time_is_refused() -> None:
    with pytest.raises(ValueError, match="would stop or reverse time"):
        LedClock(0, 0.0, MINUTE_MS)
