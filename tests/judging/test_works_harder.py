"""A heater that works harder than some days ago: for the day's summary, not for the phone."""

from math import exp

from tests.judging.rooms import START, fold, kinds, probe, room, tank

from roewatch.judging.judge import Judge
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM
from roewatch.room.window import Window

_STAYS_DAYS, _FALLS_DAYS, _DAYS = 4.0, 1.5, 9
_FULL_C = 9.5  # what the heater, always on, would hold above the room
_HOURS = 9.0  # the tank's time constant


def readings(falls_c: float) -> list[Reading]:
    """A thermostat at 25.75 to 26.25 °C in a room that is slowly let cool by `falls_c`."""
    value, heating, said = 26.0, False, []
    for minute in range(_DAYS * 1440):
        gone = (minute / 1440 - _STAYS_DAYS) / _FALLS_DAYS
        air = 20.0 - falls_c * min(max(gone, 0.0), 1.0)
        rest = air + (_FULL_C if heating else 0.0)
        value = rest + (value - rest) * exp(-1 / 60 / _HOURS)
        heating = value < 25.75 or (heating and value < 26.25)
        at_ms = START + minute * MINUTE_MS + 10_000
        said += [Reading("A1-t", at_ms, round(value * 16) / 16), Reading("air", at_ms, air)]
    return said


def judge() -> Judge:
    probes = [probe(), probe("air", ROOM)]
    return Judge(room([tank(celsius=Window(low=24.5, high=27.5))], probes), start_ms=START)


def test_a_heater_on_far_longer_than_some_days_ago_is_told_and_nothing_else() -> None:
    found = fold(judge(), readings(falls_c=2.4))
    assert kinds(found) == ["A1 heater-works-harder"]
    told = next(f for f in found if f.present)
    assert told.at_ms > START + _STAYS_DAYS * DAY_MS
    assert "of the time" in told.message


def test_a_little_more_work_is_not_worth_a_word() -> None:
    assert kinds(fold(judge(), readings(falls_c=0.7))) == []
