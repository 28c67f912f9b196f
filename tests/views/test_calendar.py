"""The calendar feed, read back by a parser that is not the one that wrote it."""

from collections.abc import Sequence
from datetime import UTC, timedelta
from typing import Any

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from tests.breeding.rearing import EIGHT, Attempt

from roewatch.breeding.feed import Event, feed, read, written
from roewatch.breeding.record import BroodAct
from roewatch.breeding.todo import Task, Todo
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, moment_of
from roewatch.views.calendar import calendar_text


def parsed(events: dict[str, Event]) -> dict[str, Any]:
    """The file's events by uid, as vobject understands and validates them."""
    calendar = vobject.readOne(calendar_text(events.values(), name="Broods of The Boathouse"))
    assert calendar.validate(raiseException=True)
    return {event.uid.value: event for event in calendar.vevent_list}


def hatch_of(events: dict[str, Event]) -> Event:
    return events["2026-14/hatch"]


def todo(key: str = "2026-14/hatch", *, from_h: float = 20, to_h: float = 30, words: str = "Look.",
         task: Task = Task.HATCH) -> Todo:  # fmt: skip
    from_ms, to_ms = (EIGHT + round(h * HOUR_MS) for h in (from_h, to_h))
    return Todo(
        key=key, task=task, brood="2026-14", tank="B2", words=words,
        from_ms=from_ms, due_ms=(from_ms + to_ms) // 2, to_ms=to_ms,
    )  # fmt: skip


def published(todos: Sequence[Todo], before: dict[str, Event] | None = None, hours: float = 0
              ) -> dict[str, Event]:  # fmt: skip
    return feed(todos, before or {}, room="boathouse", now_ms=EIGHT + round(hours * HOUR_MS))


def neon() -> Attempt:
    return Attempt("paracheirodon-innesi").tell(BroodAct.SPAWNED, 0)


def test_an_independent_parser_reads_every_to_do_of_a_brood() -> None:
    todos = neon().todos(1)
    events = published(todos)
    found = parsed(events)
    assert len(found) == len(todos) == len(events)
    for event in events.values():
        theirs = found[event.uid]
        assert theirs.dtstart.value == moment_of(event.from_ms)
        assert theirs.dtstart.value.utcoffset() == timedelta()
        assert theirs.dtend.value == moment_of(event.to_ms)
        assert theirs.dtend.value > theirs.dtstart.value
        assert theirs.summary.value == event.summary
        assert theirs.description.value == event.words
        assert theirs.sequence.value == "0"
        assert theirs.status.value == "CONFIRMED"


def test_the_file_is_what_rfc_5545_asks_for() -> None:
    text = calendar_text(published(neon().todos(1)).values(), name="Broods", address="http://x:1/")
    lines = text.split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2:] == ["END:VCALENDAR", ""]
    assert "\n" not in text.replace("\r\n", "")
    assert all(len(line.encode()) <= 75 for line in lines)  # section 3.1
    assert text.count("BEGIN:VEVENT") == text.count("DTSTAMP:") == text.count("UID:")
    assert "VERSION:2.0" in lines
    assert "URL:http://x:1/broods/2026-14" in lines


def test_a_forecast_that_moved_keeps_the_uid_and_raises_the_sequence() -> None:
    attempt = neon()
    first = published(attempt.todos(1, 25.0), hours=1)
    moved = published(attempt.todos(12, 23.0), first, hours=12)
    before, after = hatch_of(first), hatch_of(moved)
    assert after.uid == before.uid
    assert (before.sequence, after.sequence) == (0, 1)
    assert after.from_ms > before.from_ms
    theirs = parsed(moved)[before.uid]
    assert theirs.sequence.value == "1"
    assert theirs.dtstart.value == moment_of(after.from_ms)
    assert theirs.last_modified.value == moment_of(EIGHT + 12 * HOUR_MS)
    assert theirs.created.value == moment_of(EIGHT + HOUR_MS)


def test_asking_again_for_the_same_changes_nothing_at_all() -> None:
    todos = neon().todos(1)
    first = published(todos)
    assert published(todos, first, hours=5) == first


def test_a_forecast_that_only_trembles_leaves_its_event_alone() -> None:
    first = published([todo()])
    trembled = published([todo(from_h=20.2, to_h=30.1)], first, hours=1)
    assert trembled == first
    moved = published([todo(from_h=20.3, to_h=30)], first, hours=1)
    assert hatch_of(moved).sequence == 1


def test_many_small_steps_still_move_the_event() -> None:
    events = published([todo()])
    for step in range(1, 20):
        events = published([todo(from_h=20 + step * 0.1, to_h=30 + step * 0.1)], events)
    behind = EIGHT + round(21.9 * HOUR_MS) - hatch_of(events).from_ms
    assert 0 <= behind <= 20 * MINUTE_MS


def test_what_is_no_longer_wanted_is_cancelled_and_may_come_back() -> None:
    first = published([todo()])
    gone = published([], first, hours=1)
    theirs = parsed(gone)[hatch_of(first).uid]
    assert theirs.status.value == "CANCELLED"
    assert theirs.sequence.value == "1"
    assert published([], gone, hours=2) == gone
    back = hatch_of(published([todo()], gone, hours=3))
    assert (back.uid, back.sequence, back.cancelled) == (hatch_of(first).uid, 2, False)


def test_an_ended_brood_takes_its_future_out_of_the_phone_and_leaves_the_past() -> None:
    attempt = neon()
    first = published(attempt.todos(1), hours=1)
    attempt.tell(BroodAct.ENDED, 2, outcome="lost")
    after = published(attempt.todos(2), first, hours=2)
    now_ms = EIGHT + 2 * HOUR_MS
    assert {key for key, e in after.items() if e.cancelled} == {
        key for key, e in first.items() if e.to_ms > now_ms
    }


def test_an_event_long_past_leaves_the_feed() -> None:
    first = published([todo()])
    assert published([], first, hours=30 + 29 * 24).keys() == first.keys()
    assert published([], first, hours=31 + 30 * 24) == {}


def test_uids_tell_rooms_and_to_dos_apart() -> None:
    mine = published([todo(), todo("2026-15/hatch")])
    theirs = feed([todo()], {}, room="other", now_ms=EIGHT)
    uids = {event.uid for event in [*mine.values(), *theirs.values()]}
    assert len(uids) == 3


def test_what_was_published_survives_a_restart() -> None:
    events = published(neon().todos(1))
    assert read(written(events)) == events
    assert read("") == {}


@pytest.mark.parametrize("words", ["a; b, c\\d\nnext: “ä°”", "x" * 400, "°" * 200])
def test_no_words_break_the_file(words: str) -> None:
    (theirs,) = parsed(published([todo(words=words)])).values()
    assert theirs.description.value == words


times = st.tuples(st.floats(0, 200), st.floats(0.1, 100))
steps = st.lists(st.one_of(st.none(), times), min_size=1, max_size=12)


@given(steps)
def test_however_forecasts_move_a_sequence_only_rises_and_only_when_something_changed(
    moves: list[tuple[float, float] | None],
) -> None:
    events: dict[str, Event] = {}
    for hour, step in enumerate(moves):
        todos = [] if step is None else [todo(from_h=step[0], to_h=step[0] + step[1])]
        before = events.get("2026-14/hatch")
        events = published(todos, events, hours=hour)
        after = events.get("2026-14/hatch")
        if before is None or after is None:
            continue
        assert after.uid == before.uid
        changed = (after.from_ms, after.to_ms, after.cancelled) != (
            before.from_ms, before.to_ms, before.cancelled,
        )  # fmt: skip
        assert after.sequence == before.sequence + changed
        assert after.changed_ms >= before.changed_ms
        assert after.made_ms == before.made_ms
        parsed(events)


def test_spans_are_rounded_for_the_phone_to_five_minutes() -> None:
    event = hatch_of(published([todo(from_h=20.123, to_h=30.987)]))
    assert event.from_ms % (5 * MINUTE_MS) == event.to_ms % (5 * MINUTE_MS) == 0
    assert moment_of(event.from_ms).tzinfo is UTC
    assert event.to_ms - event.from_ms < DAY_MS
