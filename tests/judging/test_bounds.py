"""The window: raised after the on-delay, ended after the off-delay, never for want of data."""

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.judging.rooms import START, fold, kinds, minutes, one_tank

from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS

INSIDE = [26.0, 26.0625] * 10


def test_cold_water_is_told_after_the_on_delay() -> None:
    findings = fold(one_tank(), minutes([*INSIDE, *[24.5, 24.5625] * 10]))
    assert kinds(findings) == ["A1 below-window"]
    first = findings[0]
    told_min = (first.at_ms - START) / MINUTE_MS
    assert 24 <= told_min <= 27, "four minutes and the median's lag"
    assert first.window == "25.0-28.0"
    assert "below the window 25.0-28.0" in first.message
    assert first.since_ms <= START + 22 * MINUTE_MS


def test_a_short_dip_is_not_told() -> None:
    assert kinds(fold(one_tank(), minutes([*INSIDE, *[24.5, 24.5625], *INSIDE]))) == []


def test_the_deadband_keeps_it_standing_just_inside() -> None:
    findings = fold(one_tank(), minutes([*INSIDE, *[24.5, 24.5625] * 10, *[25.0625, 25.125] * 20]))
    assert [f.present for f in findings if f.kind is Kind.BELOW_WINDOW] == [True]


def test_it_ends_after_ten_minutes_well_inside() -> None:
    findings = fold(one_tank(), minutes([*INSIDE, *[24.5, 24.5625] * 10, *INSIDE, *INSIDE]))
    told = [(f.present, (f.at_ms - START) // MINUTE_MS) for f in findings]
    assert [present for present, _ in told] == [True, False]
    assert 50 <= told[1][1] <= 54


def test_a_missing_sample_never_ends_it() -> None:
    judge = one_tank()
    findings = fold(judge, minutes([*INSIDE, *[24.5, 24.5625] * 10]))
    findings += judge.advance(START + 40 * 60 * MINUTE_MS)
    ended = [f.kind for f in findings if not f.present]
    assert Kind.BELOW_WINDOW not in ended


@settings(deadline=None)
@given(st.lists(st.floats(25.0, 28.0), min_size=30, max_size=60))
def test_no_water_inside_the_window_is_ever_outside(values: list[float]) -> None:
    findings = fold(one_tank(), minutes(values))
    assert not [f for f in findings if f.kind in (Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW)]
