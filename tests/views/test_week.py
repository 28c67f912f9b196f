"""Which stage, and so which window, a chart draws for which time."""

from dataclasses import replace

from tests.views.room_of_glass import (
    NOW,
    PAST,
    GlassRecords,
    room_of,
    tank,
    windows_of,
)

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import Room
from roewatch.views.trace import WindowSpan
from roewatch.views.week import Look, Past, chart_of, stages

FROM = NOW - 7 * DAY_MS


def entered(days_ago: float, stage: str) -> JournalEntry:
    at_ms = NOW - int(days_ago * DAY_MS)
    return JournalEntry(at_ms=at_ms, tank="A1", deed=Deed.STAGE, detail=stage)


def spans(journal: list[JournalEntry], stage: Stage, look: Look) -> list[WindowSpan]:
    """The pH bands of a week of a tank that is in that stage."""
    a1 = tank("A1", rack="A", shelf=1, place=1, stage=stage, species="Danio margaritatus")
    room: Room = room_of([a1])
    records = GlassRecords(room, entries=journal)
    spec = chart_of(
        records, room, "A1", Quantity.PH, from_ms=FROM, to_ms=NOW, now_ms=NOW, look=look
    )
    return list(spec.windows)


JUDGED = Look(judged=True, past=PAST)


def lows(found: list[WindowSpan]) -> list[float | None]:
    return [span.window.low if span.window else None for span in found]


def test_without_an_entry_the_whole_week_is_the_stage_it_is_in() -> None:
    assert lows(spans([], Stage.SPAWNING, JUDGED)) == [4.8]


def test_before_the_first_entry_it_was_in_the_stage_the_settings_name() -> None:
    found = spans([entered(2, "spawning")], Stage.SPAWNING, JUDGED)
    assert lows(found) == [5.0, 4.8]  # holding, spawning
    assert found[0].to_ms == NOW - 2 * DAY_MS


def test_where_nobody_knows_there_is_no_band() -> None:
    look = replace(JUDGED, past=Past(windows_of=windows_of))
    assert lows(spans([entered(2, "spawning")], Stage.SPAWNING, look)) == [None, 4.8]


def test_an_entry_from_before_the_chart_counts() -> None:
    found = spans([entered(9, "conditioning"), entered(2, "spawning")], Stage.SPAWNING, JUDGED)
    assert lows(found) == [5.2, 4.8]


def test_what_the_tank_is_judged_by_now_goes_before_the_journals_last_word() -> None:
    """The keeper edited the settings after the entry."""
    found = spans([entered(2, "spawning")], Stage.GROWING, JUDGED)
    assert lows(found)[-1] == 5.5


def test_with_the_settings_alone_the_journals_last_word_is_the_newer_one() -> None:
    look = Look(past=Past(windows_of=windows_of))
    found = spans([entered(2, "spawning")], Stage.CONDITIONING, look)
    assert lows(found) == [5.2, 4.8]


def test_an_entry_that_names_no_stage_changes_none() -> None:
    odd = [entered(3, "dancing"), entered(2, " Spawning ")]
    found = stages(odd, FROM, NOW, before=Stage.HOLDING, now=None)
    assert [stage for _, _, stage in found] == [Stage.HOLDING, Stage.SPAWNING]
