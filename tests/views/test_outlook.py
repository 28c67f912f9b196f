"""What is expected is said with its range, or not at all."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.views.room_of_glass import NOW

from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.series import Series
from roewatch.room.window import Window
from roewatch.views.outlook import outlook_of

WINDOW = Window(low=24.0, high=27.0)


def last_hours(curve: object, *, hours: float = 3) -> Series:
    """Temperature a minute apart; curve: hours before now to degrees."""
    at = list(range(NOW - int(hours * HOUR_MS), NOW, MINUTE_MS))
    return Series(
        probe="a1-temp",
        tank="A1",
        quantity=Quantity.TEMPERATURE,
        every_ms=MINUTE_MS,
        from_ms=NOW - 3 * HOUR_MS,
        to_ms=NOW,
        at_ms=at,
        value=[curve((NOW - t) / HOUR_MS) for t in at],  # type: ignore[operator]
        flag=[1] * len(at),
    )


def test_a_straight_fall_reaches_the_edge_when_arithmetic_says() -> None:
    # 25.2 °C falling 0.4 °C an hour: 24.0 is 1.2 / 0.4 = 3 h away
    told = outlook_of(last_hours(lambda h: 25.2 + 0.4 * h), WINDOW, 25.2, NOW)
    assert told.crossing is not None
    assert told.crossing.likely_ms is not None
    assert told.crossing.likely_ms - NOW == pytest.approx(3 * HOUR_MS, rel=0.01)
    assert told.text.startswith("Leaves the window in about 3 h")


def test_a_slowing_fall_has_a_wide_range() -> None:
    told = outlook_of(last_hours(lambda h: 24.5 + 0.2 * h + 0.15 * h * h), WINDOW, 24.5, NOW)
    assert told.crossing is not None
    earliest, _, latest = told.crossing
    assert earliest is not None
    assert latest is not None
    assert latest - earliest > 30 * MINUTE_MS


def test_a_steady_value_stays_inside_and_never_for_longer_than_half_a_day() -> None:
    told = outlook_of(last_hours(lambda _: 25.5), WINDOW, 25.5, NOW)
    assert told.text == "Stays inside for the next 12 h."
    assert told.crossing is None


def test_outside_and_returning_it_says_when_it_is_back() -> None:
    # 23.4 °C rising 0.3 °C an hour: 24.0 is 2 h away
    told = outlook_of(last_hours(lambda h: 23.4 - 0.3 * h), WINDOW, 23.4, NOW)
    assert told.text.startswith(
        ("Back in the window in about 2 h", "Back in the window in about 1")
    )


@pytest.mark.parametrize(
    ("series", "window", "value", "why"),
    [
        (last_hours(lambda _: 25.0), None, 25.0, "no window"),
        (last_hours(lambda _: 25.0), WINDOW, None, "silent"),
        (last_hours(lambda _: 25.0, hours=0.3), WINDOW, 25.0, "less than an hour"),
        (last_hours(lambda h: 23.0 + h), WINDOW, 23.0, "still moves outwards"),
        (last_hours(lambda _: 23.0), WINDOW, 23.0, "does not move"),
    ],
)
def test_what_cannot_be_said_is_not_said_and_the_reason_is(
    series: Series, window: Window | None, value: float | None, why: str
) -> None:
    told = outlook_of(series, window, value, NOW)
    assert told.text.startswith("Cannot say")
    assert why in told.text
    assert told.crossing is None


@given(
    start=st.floats(20, 30),
    pace=st.floats(-3, 3),
    bend=st.floats(-0.5, 0.5),
    ripple=st.floats(0, 0.5),
)
def test_a_forecast_always_has_its_range_in_order(
    start: float, pace: float, bend: float, ripple: float
) -> None:
    def curve(h: float) -> float:
        return start - pace * h + bend * h * h + ripple * math.sin(9 * h)

    told = outlook_of(last_hours(curve), WINDOW, curve(0), NOW)
    assert re.match(
        r"(Leaves the window in|Back in the window in|Stays inside|Cannot say)", told.text
    )
    if told.crossing:
        earliest, likely, latest = told.crossing
        assert earliest is not None
        assert likely is not None
        assert latest is not None
        assert NOW <= earliest <= likely <= latest
