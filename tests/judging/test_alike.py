"""Unheated tanks of one room, each with one thermometer, held against the others."""

from math import pi, sin
from random import Random

import pytest
from tests.judging.rooms import START, kinds, probe, room

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Reading
from roewatch.room.tank import Tank
from roewatch.room.window import Window

NAMES = ["U1", "U2", "U3", "U4", "U5"]
WIDE = {Quantity.TEMPERATURE: Window(low=15.0, high=32.0)}
ROOM_OF_FIVE = room(
    [Tank(id=name, litres=30, windows=WIDE) for name in NAMES],
    [probe(name, name, every_ms=5 * MINUTE_MS) for name in NAMES],
)
FAULT_H = 100


def said(hours: int, *, off_by_h: dict[int, float] | None = None, only: int = 0) -> list[Reading]:
    """All five follow the room's day, the larger ones later; U1 is off by that much."""
    random, readings = Random(3), []
    for step in range(only * 12, hours * 12):
        at_ms = START + step * 5 * MINUTE_MS
        for place, name in enumerate(NAMES):
            lag_h = 1 + place
            value = 22.0 + (1.5 - 0.2 * place) * sin((step / 12 - lag_h) / 24 * 2 * pi)
            if name == "U1" and off_by_h:
                value += off_by_h.get(step // 12, 0.0)
            value = round((value + random.gauss(0, 0.04)) * 16) / 16
            readings.append(Reading(name, at_ms + place * 2000, value))
    return readings


def flagged(judge: Judge, readings: list[Reading]) -> dict[str, set[int]]:
    """In which hours readings of which tank were suspect."""
    hours: dict[str, set[int]] = {}
    for reading in readings:
        if judge.take(reading).flagged.flag is Flag.SUSPECT:
            hours.setdefault(reading.probe, set()).add((reading.at_ms - START) // HOUR_MS)
    return hours


CREEPS = {hour: min(hour - FAULT_H, 4) * 0.8 for hour in range(FAULT_H, 200)}


def test_tanks_of_every_size_that_follow_the_room_are_good() -> None:
    assert flagged(Judge(ROOM_OF_FIVE, start_ms=START), said(10 * 24)) == {}


def test_a_thermometer_that_leaves_the_others_is_suspect_while_it_goes_and_no_alarm() -> None:
    judge = Judge(ROOM_OF_FIVE, start_ms=START)
    found: list[Finding] = []
    readings = said(116, off_by_h=CREEPS)
    hours = flagged(judge, readings)
    assert set(hours) == {"U1"}
    assert FAULT_H + 1 < min(hours["U1"]) <= FAULT_H + 4
    assert max(hours["U1"]) < FAULT_H + 10
    again = Judge(ROOM_OF_FIVE, start_ms=START)
    for reading in readings:
        found += again.take(reading).findings
    assert kinds(found) == []


def test_what_the_journal_explains_is_not_suspect() -> None:
    judge = Judge(ROOM_OF_FIVE, start_ms=START)
    flagged(judge, said(FAULT_H))
    at_ms = START + FAULT_H * HOUR_MS
    judge.enter(JournalEntry(at_ms=at_ms, tank="U1", deed=Deed.WATER_CHANGE,
                             until_ms=at_ms + 4 * HOUR_MS))  # fmt: skip
    rest = said(FAULT_H + 8, off_by_h=CREEPS, only=FAULT_H)
    assert flagged(judge, rest) == {}


@pytest.mark.parametrize("cut_h", [FAULT_H - 5, FAULT_H + 4])
def test_after_a_restart_it_is_the_same(cut_h: int) -> None:
    readings = said(116, off_by_h=CREEPS)
    whole = flagged(Judge(ROOM_OF_FIVE, start_ms=START), readings)
    cut = next(n for n, reading in enumerate(readings) if reading.at_ms >= START + cut_h * HOUR_MS)
    first = Judge(ROOM_OF_FIVE, start_ms=START)
    hours = flagged(first, readings[:cut])
    second = Judge(ROOM_OF_FIVE, start_ms=START)
    assert second.restore(first.changed_states()) == []
    for name, later in flagged(second, readings[cut:]).items():
        hours.setdefault(name, set()).update(later)
    assert hours == whole
