"""What a tank has taught of its heating, in words."""

from dataclasses import replace

import pytest
from tests.views.room_of_glass import STEADY, boathouse

from roewatch.judging.judge import Learned
from roewatch.views.learned import learned_words
from roewatch.views.sentence import sentence
from roewatch.views.units import Units

TANK = replace(boathouse().tanks[0], heater_watts=25.0)


def plain(learned: Learned | None) -> str:
    return " ".join(learned_words(TANK, learned).split())


def test_a_known_heater_is_told_with_its_pace_its_share_and_its_switch_points() -> None:
    assert plain(STEADY) == (
        "Cools 1 °C in 70 min, heater at 38 %; it switches on at 25.6 °C and off at 26.3 °C. "
        "The room's air is at 20.4 °C."
    )


def test_in_fahrenheit_the_degree_it_cools_by_is_a_difference() -> None:
    told = sentence(learned_words(TANK, STEADY), Units(fahrenheit=True))
    assert told.startswith("Cools 1.8\u202f°F in 70 min, heater at 38\u00a0%")
    assert "°C" not in told


@pytest.mark.parametrize(
    ("per_h", "time"), [(0.86, "70 min"), (4.0, "15 min"), (0.4, "2 h 30 min"), (0.01, "4 d 4 h")]
)
def test_how_long_a_degree_takes_is_told_no_finer_than_it_is_known(per_h: float, time: str) -> None:
    assert f"Cools 1 °C in {time}, heater" in plain(STEADY._replace(cools_per_h=per_h))


def test_what_is_not_known_yet_says_from_what_it_will_be() -> None:
    assert plain(Learned("A1", 2)) == (
        "How it cools and heats is learned from the heater's own cycles: 2 so far."
    )
    assert plain(Learned("A1", 0)).endswith("cycles: none so far.")


def test_an_air_that_only_the_tanks_tell_says_how_far_it_may_be_off() -> None:
    assert plain(STEADY._replace(room_spread=0.6)).endswith(
        "The room's air, told by its tanks, is at about 20 °C, give or take 0.6 °C."
    )


def test_a_tank_without_a_heater_or_unjudged_says_nothing() -> None:
    assert learned_words(replace(TANK, heater_watts=0.0), STEADY) == ""
    assert plain(None) == ""
