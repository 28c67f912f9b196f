"""Moments and spans."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.room.moment import (
    at_ms_of,
    at_ms_of_iso,
    iso,
    moment_of,
    span_ms_of,
    span_text,
)


@given(st.integers(min_value=0, max_value=4_102_444_800_000))
def test_a_moment_written_and_read_again_is_the_same_millisecond(at_ms: int) -> None:
    assert at_ms_of_iso(iso(at_ms)) == at_ms
    assert at_ms_of(moment_of(at_ms)) == at_ms


def test_a_moment_in_another_zone_is_the_same_moment() -> None:
    tallinn_in_summer = timezone(timedelta(hours=3))
    assert at_ms_of(datetime(2026, 6, 1, 15, tzinfo=tallinn_in_summer)) == at_ms_of(
        datetime(2026, 6, 1, 12, tzinfo=UTC)
    )


def test_a_time_without_a_zone_is_refused_because_it_is_a_guess() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        at_ms_of_iso("2026-06-01T12:00:00")


@pytest.mark.parametrize(
    ("text", "span_ms"),
    [("90 s", 90_000), ("5 min", 300_000), ("2 h", 7_200_000), ("7d", 604_800_000),
     ("0.5 h", 1_800_000)],
)  # fmt: skip
def test_spans_are_read_as_people_write_them(text: str, span_ms: int) -> None:
    assert span_ms_of(text) == span_ms


@pytest.mark.parametrize(
    "text", ["", "5", "5 m", "five min", "-5 min", "0 s", "1e3 s", "5 minutes"]
)
def test_anything_else_is_no_span(text: str) -> None:
    with pytest.raises(ValueError, match="span"):
        span_ms_of(text)


@pytest.mark.parametrize(
    ("span_ms", "text"),
    [(45_000, "45 s"), (25 * 60_000, "25 min"),
     (190 * 60_000, "3 h 10 min"), (59 * 60_000 + 45_000, "1 h"),
     (50 * 3_600_000, "2 d 2 h"), (48 * 3_600_000, "2 d")],
)  # fmt: skip
def test_people_see_a_span_in_two_parts_at_most(span_ms: int, text: str) -> None:
    assert span_text(span_ms) == text
