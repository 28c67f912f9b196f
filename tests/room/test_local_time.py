"""Local time: the room's clock on the wall, also when it is put forward or back."""

import pytest

from roewatch.room.local_time import local_clock, local_minute
from roewatch.room.moment import at_ms_of_iso

# EU summer time (Directive 2000/84/EC), 2026: from 29 March 01:00 UTC to 25 October 01:00 UTC
SHOWN = [
    ("2026-03-02T10:00:00Z", "2026-03-02T11:00:00Z", "12:00"),
    ("2026-03-02T10:00:00Z", "2026-03-03T10:00:00Z", "Mon 2 Mar 12:00"),
    ("2026-03-29T00:59:00Z", "2026-03-29T09:00:00Z", "02:59"),
    ("2026-03-29T01:00:00Z", "2026-03-29T09:00:00Z", "04:00"),
    ("2026-10-25T00:30:00Z", "2026-10-25T09:00:00Z", "03:30 (1st)"),
    ("2026-10-25T01:30:00Z", "2026-10-25T09:00:00Z", "03:30 (2nd)"),
    ("2026-10-25T02:00:00Z", "2026-10-25T09:00:00Z", "04:00"),
    # the day is the room's, not the day in UTC
    ("2026-03-02T21:30:00Z", "2026-03-02T23:00:00Z", "Mon 2 Mar 23:30"),
]


@pytest.mark.parametrize(("at", "now", "text"), SHOWN)
def test_a_moment_is_shown_as_the_wall_clock_has_it(at: str, now: str, text: str) -> None:
    assert local_clock(at_ms_of_iso(at), "Europe/Tallinn", at_ms_of_iso(now)) == text


def test_minutes_of_the_day_follow_the_wall_clock() -> None:
    assert local_minute(at_ms_of_iso("2026-03-29T00:59:00Z"), "Europe/Tallinn") == 2 * 60 + 59
    assert local_minute(at_ms_of_iso("2026-03-29T01:00:00Z"), "Europe/Tallinn") == 4 * 60
