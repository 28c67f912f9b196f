"""Marks along a chart's edges, on the room's own clock."""

import itertools
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from roewatch.room.moment import DAY_MS, HOUR_MS, at_ms_of, at_ms_of_iso
from roewatch.views.axis import instants, time_marks, value_marks

TALLINN = ZoneInfo("Europe/Tallinn")


def at(text: str) -> int:
    return at_ms_of_iso(text)


def test_a_week_is_marked_at_each_local_midnight() -> None:
    marks = time_marks(at("2026-11-05T12:00Z"), at("2026-11-12T12:00Z"), TALLINN)
    assert [m.text for m in marks] == [
        "Fri 6", "Sat 7", "Sun 8", "Mon 9", "Tue 10", "Wed 11", "Thu 12",
    ]  # fmt: skip
    assert marks[0].at_ms == at("2026-11-06T00:00+02:00")


def test_the_day_clocks_go_back_has_its_hour_twice() -> None:
    # 25 October 2026: at 04:00 summer time it is 03:00 again (EU directive 2000/84/EC)
    marks = time_marks(at("2026-10-24T23:00Z"), at("2026-10-25T04:00Z"), TALLINN)
    assert [m.text for m in marks] == [
        "02:00", "03:00 (1st)", "03:00 (2nd)", "04:00", "05:00", "06:00",
    ]  # fmt: skip
    assert {b.at_ms - a.at_ms for a, b in itertools.pairwise(marks)} == {HOUR_MS}


def test_the_hour_that_clocks_skip_is_not_marked() -> None:
    # 29 March 2026: after 02:59 comes 04:00
    marks = time_marks(at("2026-03-28T23:00Z"), at("2026-03-29T03:00Z"), TALLINN)
    assert [m.text for m in marks] == ["01:00", "02:00", "04:00", "05:00", "06:00"]


def test_midnights_stay_midnights_across_the_change() -> None:
    marks = time_marks(at("2026-10-22T12:00Z"), at("2026-10-29T12:00Z"), TALLINN)
    apart = [b.at_ms - a.at_ms for a, b in itertools.pairwise(marks)]
    assert sorted(set(apart)) == [DAY_MS, 25 * HOUR_MS]


def test_a_wall_clock_time_was_once_twice_or_never() -> None:
    def wall(month: int, day: int) -> datetime:
        return datetime(2026, month, day, 3, 30)  # noqa: DTZ001 a wall clock

    assert instants(wall(3, 29), TALLINN) == []
    assert len(instants(wall(7, 1), TALLINN)) == 1
    first, second = instants(wall(10, 25), TALLINN)
    assert first == (at_ms_of(datetime(2026, 10, 25, 0, 30, tzinfo=UTC)), " (1st)")
    assert second[0] - first[0] == HOUR_MS


def test_no_span_has_more_marks_than_a_phone_can_show() -> None:
    end = at("2026-11-12T12:00Z")
    for span in (1, 6, 24, 30, 48, 7 * 24, 30 * 24, 100 * 24, 366 * 24):
        assert 1 <= len(time_marks(end - span * HOUR_MS, end, TALLINN)) <= 9, span


def test_values_are_marked_at_round_numbers_inside() -> None:
    assert value_marks(4.7, 7.1) == [5.0, 5.5, 6.0, 6.5, 7.0]
    assert value_marks(22.9, 27.2) == [23.0, 24.0, 25.0, 26.0, 27.0]
    assert value_marks(1.0, 1.0) == []
