"""Rate limits: over a span, never from sample to sample."""

import pytest
from tests.judging.rooms import START, fold, kinds, minutes, probe, room, tank

from roewatch.judging.judge import Judge
from roewatch.judging.slope import fitted_per_h
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.window import RateLimit

HOURLY = RateLimit(span_ms=HOUR_MS, rise=1.0, fall=1.0)
DAILY = RateLimit(span_ms=24 * HOUR_MS, rise=2.0, fall=1.0)


def limited(*rates: RateLimit) -> Judge:
    return Judge(room([tank(celsius=None, rates=rates)], [probe()]), start_ms=START)


def ramp(start: float, per_h: float, hours: float) -> list[float]:
    return [round((start + per_h * n / 60) * 16) / 16 for n in range(int(hours * 60))]


def test_two_degrees_in_an_hour_is_too_fast() -> None:
    findings = fold(limited(HOURLY), minutes([*ramp(26, 0, 3), *ramp(26, -2, 2)]))
    assert kinds(findings) == ["A1 falling-too-fast"]
    assert "within 1 h" in findings[0].message


def test_sensor_steps_are_no_rate() -> None:
    steps = [26.0 + (n % 2) * 0.0625 for n in range(600)]  # 3.75 °C/h from sample to sample
    assert kinds(fold(limited(HOURLY, DAILY), minutes(steps))) == []


def test_a_degree_a_day_up_is_within_the_limit_and_two_down_are_not() -> None:
    assert kinds(fold(limited(DAILY), minutes(ramp(24, 1 / 24, 72)))) == []
    assert kinds(fold(limited(DAILY), minutes(ramp(28, -2 / 24, 48)))) == ["A1 falling-too-fast"]


def test_it_ends_when_the_water_holds() -> None:
    findings = fold(limited(HOURLY), minutes([*ramp(26, 0, 3), *ramp(26, -2, 2), *ramp(22, 0, 3)]))
    assert [f.present for f in findings if f.kind is Kind.FALLING_TOO_FAST][-1] is False


def test_slopes_are_those_of_a_straight_line() -> None:
    at_ms = [n * MINUTE_MS for n in range(20)]
    values = [20 + 0.01 * n for n in range(20)]
    assert fitted_per_h(at_ms, values) == pytest.approx(0.6)
