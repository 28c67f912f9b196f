"""The course of the room's air: it goes on as at this time of the days before."""

from math import cos, pi

import pytest

from roewatch.judging.air import Air


def swinging(*, hours: int, by: float = 1.5) -> Air:
    """A room that swings once a day about 20 °C; the last hour runs and is half over."""
    air = Air()
    air.hours = [20 + by * cos(hour / 24 * 2 * pi) for hour in range(hours)]
    air.now = [air.hours[-1]] * 6
    return air


def test_nothing_is_said_before_a_day_is_known() -> None:
    assert swinging(hours=23).ahead(3) is None


def test_nothing_is_said_without_a_look_at_this_hour() -> None:
    air = swinging(hours=48)
    air.now = []
    assert air.ahead(3) is None


def test_a_steady_room_stays() -> None:
    assert swinging(hours=72, by=0).ahead(9) == pytest.approx(20.0)


@pytest.mark.parametrize("hours", [2, 6, 10])
def test_a_room_that_swings_is_followed_within_an_hours_lag(hours: int) -> None:
    air = swinging(hours=78)  # six hours past its warmest: it falls
    true = [20 + 1.5 * cos(hour / 24 * 2 * pi) for hour in range(78, 78 + hours)]
    assert air.ahead(hours) == pytest.approx(
        sum(true) / hours, abs=0.4
    )  # an hour of it at its steepest
    assert air.ahead(hours) < air.now[-1]  # type: ignore[operator]
