"""A hand around a probe: the one that rises is it, and only when it can be told."""

from hypothesis import given
from hypothesis import strategies as st

from roewatch.intake.rising import LEAST_CELSIUS, rise_of, warmed

STILL = [25.0, 25.1, 25.0, 25.1]


def test_the_one_under_the_hand_is_named() -> None:
    assert warmed({"a": STILL, "b": [24.0, 24.6, 25.9], "c": STILL}) == "b"


def test_nobody_is_named_while_none_rises_or_two_do() -> None:
    assert warmed({}) is None
    assert warmed({"a": [25.0]}) is None
    assert warmed({"a": STILL, "b": [25.0, 25.0 + LEAST_CELSIUS / 2]}) is None
    assert warmed({"a": [24.0, 26.0], "b": [24.0, 25.5]}) is None


@given(st.lists(st.floats(10, 35), min_size=1))
def test_a_rise_is_never_below_nothing_nor_above_what_was_seen(values: list[float]) -> None:
    assert 0.0 <= rise_of(values) <= max(values) - min(values)
