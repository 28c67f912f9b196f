"""The days a tank's pH is held against are learned while nothing is wrong with it."""

from collections.abc import Callable
from itertools import pairwise
from math import pi, sin

import pytest
from tests.judging.rooms import START, Event, judged, probe, room, tank

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.window import Window

TEN_MIN = 10 * MINUTE_MS


def found(
    moved: Callable[[float], float],
    *,
    days: int,
    every_ms: int = TEN_MIN,
    journal: tuple[JournalEntry, ...] = (),
) -> list[Finding]:
    """What is found in a tank with an ordinary day, moved by so much at so many days."""
    wide = tank(celsius=None, ph=Window(low=5.0, high=9.0))
    judge = Judge(room([wide], [probe("A1-ph", "A1", Quantity.PH, every_ms)]), start_ms=START)
    events: list[Event] = []
    for n in range(days * DAY_MS // every_ms):
        day = n * every_ms / DAY_MS
        value = 6.8 + 0.04 * sin(2 * pi * day) + moved(day) + n * 7 % 5 / 200
        events.append(Reading("A1-ph", START + n * every_ms + 10_000, round(value, 2)))
    for entry in journal:
        place = next(n for n, e in enumerate(events) if e.at_ms >= entry.at_ms)
        events.insert(place, entry)
    return [f for f in judged(judge, events) if not f.explained]


def told(findings: list[Finding]) -> list[tuple[str, bool]]:
    """Kinds as they began and ended; what was told again left out."""
    seen: list[tuple[str, bool]] = []
    for finding in findings:
        word = (str(finding.kind), finding.present)
        if not seen or seen[-1] != word:
            seen.append(word)
    return seen


DRIFTED = [("probe-drifting", True), ("probe-drifting", False)]


def drift(day: float) -> float:
    """Two tenths a day from the sixth day on, set right after four."""
    return 0.2 * (day - 6) if 6 <= day < 10 else 0.0


@pytest.mark.parametrize("minutes", [5, 10, 15, 30])
def test_a_drift_is_one_finding_and_its_mending_none(minutes: int) -> None:
    findings = found(drift, days=14, every_ms=minutes * MINUTE_MS)
    assert told(findings) == DRIFTED
    assert findings[-1].at_ms - START < 10 * DAY_MS + 6 * HOUR_MS


def test_changed_water_does_not_end_a_drift() -> None:
    at_ms = START + 8 * DAY_MS
    change = JournalEntry(
        at_ms=at_ms, tank="A1", deed=Deed.WATER_CHANGE, until_ms=at_ms + 15 * MINUTE_MS
    )
    findings = found(drift, days=14, journal=(change,))
    assert told(findings) == DRIFTED
    assert findings[-1].at_ms - START > 10 * DAY_MS


def test_where_the_ph_stays_for_days_is_the_tanks_way_and_said_to_be() -> None:
    findings = found(lambda day: -0.18 * min(max(day - 6, 0), 1), days=16)
    begun, *_, over = findings
    assert begun.present
    assert not over.present
    assert "tank's way" in over.message
    assert 8 * DAY_MS < over.at_ms - START < 11 * DAY_MS
    assert len({f.kind for f in findings}) == 1


def test_one_cause_has_no_more_than_two_names() -> None:
    # lost by night and won back by day, deeper and deeper: acid as well as breath
    def swings(day: float) -> float:
        deep = min(max(day - 6, 0), 3) / 6
        return -deep * (1 + 0.5 * sin(4 * pi * day))

    names = [f.kind for f in found(swings, days=10) if f.present]
    changes = sum(a is not b for a, b in pairwise(names))
    assert changes <= 1
