"""A probe whose numbers hardly move any more, though they are not all the same."""

from math import pi, sin

import pytest
from tests.judging.rooms import START, fold, kinds, one_tank

from roewatch.judging.limits import Limits
from roewatch.judging.liveliness import Liveliness
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.reading import Flag, Reading

FIVE_MS = 5 * MINUTE_MS


def swinging(minute: int, by: float) -> float:
    """A tank that goes up and down by `by` every two hours, in steps of a fine sensor."""
    return round((26.0 + by * sin(minute / 120 * 2 * pi)) * 1000) / 1000


def day(by: float, *, first: int = 0, hours: int = 24) -> list[Reading]:
    return [
        Reading("A1-t", START + minute * MINUTE_MS, swinging(minute, by))
        for minute in range(first * 60, (first + hours) * 60)
    ]


def test_a_dull_probe_is_suspect_and_no_alarm() -> None:
    judge = one_tank()
    readings = [*day(0.25, hours=30), *day(0.05, first=30, hours=8)]
    # a heater that hardly warms looks the same; of the probe nothing is told
    assert not [kind for kind in kinds(fold(judge, readings)) if "probe" in kind]
    last = Reading("A1-t", START + 38 * HOUR_MS, swinging(38 * 60, 0.05))
    assert judge.take(last).flagged.flag is Flag.SUSPECT


def test_it_is_good_again_with_the_first_hour_it_moves_in() -> None:
    judge = one_tank()
    fold(
        judge, [*day(0.25, hours=30), *day(0.05, first=30, hours=8), *day(0.25, first=38, hours=2)]
    )
    last = Reading("A1-t", START + 40 * HOUR_MS, swinging(40 * 60, 0.25))
    assert judge.take(last).flagged.flag is Flag.GOOD


def test_before_a_day_is_known_nobody_is_dull() -> None:
    judge = one_tank()
    readings = [*day(0.25, hours=20), *day(0.05, first=20, hours=8)]
    flags = [judge.take(reading).flagged.flag for reading in readings]
    assert set(flags[1:]) == {Flag.GOOD}


def taken(values: dict[int, float], hours: int) -> Liveliness:
    """One that was given twelve five minutes an hour: up and down by the hour's value."""
    lively = Liveliness(Limits())
    for hour in range(hours):
        for five in range(12):
            by = values.get(hour, 0.25)
            lively.dull(START + hour * HOUR_MS + five * FIVE_MS, 26.0 + (by if five % 2 else 0.0))
    return lively


def test_a_flat_line_is_not_dull_but_flat() -> None:
    flat = taken(dict.fromkeys(range(30, 40), 0.0), 40)
    assert flat.dulled == 0
    assert taken(dict.fromkeys(range(30, 40), 0.01), 40).dulled > 0


def test_three_days_of_it_are_the_tanks_way() -> None:
    tamed = taken(dict.fromkeys(range(30, 200), 0.05), 140)
    assert tamed.dulled == 0
    assert tamed.usual == pytest.approx(0.05)


def test_a_hole_in_the_hours_tells_nothing() -> None:
    lively = taken(dict.fromkeys(range(30, 40), 0.05), 38)
    assert lively.dulled > 0
    lively.dull(START + 45 * HOUR_MS, 26.0)
    assert lively.dulled == 0


def test_what_is_kept_restores() -> None:
    lively = taken(dict.fromkeys(range(30, 40), 0.05), 36)
    again = Liveliness(Limits())
    again.load(lively.dump())
    assert again.dump() == lively.dump()
