"""A room that loses its heating, by the probe in its air, however slowly it cools."""

import pytest
from tests.judging.rooms import START

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.standing import Standing
from roewatch.judging.together import Together
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.tank import ROOM

STEADY_H = 48


def looked(celsius: list[float]) -> list[Finding]:
    """What is found of a room with these hours of air, looked at every five minutes."""
    together = Together(Standing(ROOM, Limits().retell_ms), Limits())
    out: list[Finding] = []
    for hour, value in enumerate(celsius):
        for five in range(12):
            at_ms = START + hour * HOUR_MS + five * 5 * MINUTE_MS
            together.judge_air(at_ms, value, [], out)
    return out


@pytest.mark.parametrize("per_h", [0.2, 0.3, 0.5, 1.0])
def test_a_room_that_cools_is_told_when_it_is_a_degree_below_its_usual(per_h: float) -> None:
    found = looked([20.0] * STEADY_H + [20.0 - per_h * n for n in range(1, 20)])
    assert {str(finding.kind) for finding in found if finding.present} == {"room-heating-lost"}
    assert found[0].value is not None
    assert 19.0 - per_h <= found[0].value <= 19.3


def test_a_room_that_swings_by_day_and_night_is_not() -> None:
    day = [20.0, 20.5, 21.0, 21.5, 22.0, 21.5, 21.0, 20.5] * 3
    assert looked(day * 6) == []


def test_it_ends_when_the_room_is_warm_again() -> None:
    found = looked([20.0] * STEADY_H + [18.0] * 5 + [20.0] * 2)
    assert [finding.present for finding in found][-2:] == [True, False]
    assert found[-1].message == "the room's air is at 20.0\u00a0°C again"
