"""What replay makes of the files it is given."""

import heapq
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.service.by_hand import room_file

from roewatch.room.fault import SettingsError
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.tank import Probe, Room, Tank
from roewatch.service.replay import in_order, read_journal, read_readings, replay
from roewatch.service.settings.load import load_setup
from roewatch.service.stages import Stages

ROOM = Room(
    id="boathouse",
    name="The Boathouse",
    zone="Europe/Tallinn",
    tanks=(Tank(id="A1", litres=20),),
    probes=(
        Probe(id="a1-temperature", tank="A1", quantity=Quantity.TEMPERATURE, every_ms=60_000),
        Probe(id="a1-ph", tank="A1", quantity=Quantity.PH, every_ms=60_000),
    ),
)
NOON = at_ms_of_iso("2026-05-04T12:00:00Z")


def written(folder: Path, text: str) -> Path:
    file = folder / "day.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_rows_in_any_order_are_judged_in_order_of_time(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        "time,tank,quantity,value\n"
        "2026-05-04T12:01:00Z,A1,ph,6.4\n"
        "2026-05-04T15:00:00+03:00,A1,temperature,26.5\n",
    )
    assert read_readings(file, ROOM).readings == [
        Reading("a1-temperature", NOON, 26.5),
        Reading("a1-ph", NOON + 60_000, 6.4),
    ]


def test_columns_may_stand_in_any_order_and_others_beside_them(tmp_path: Path) -> None:
    file = written(
        tmp_path, "\ufeffvalue,note,Quantity,tank,time\n6.4,x,ph,A1,2026-05-04T12:00:00Z\n"
    )
    assert read_readings(file, ROOM).readings == [Reading("a1-ph", NOON, 6.4)]


def test_rows_that_cannot_be_used_are_counted_by_reason_with_an_example(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        "time,tank,quantity,value\n"
        "2026-05-04T12:00:00Z,C9,ph,6.4\n"
        "2026-05-04T12:00:00,A1,ph,6.4\n"
        "2026-05-04T12:00:00Z,A1,ph,wet\n"
        "2026-05-04T12:00:00Z,A1,ph,nan\n"
        "2026-05-04T12:00:00Z,A1\n",
    )
    read = read_readings(file, ROOM)
    assert read.readings == []
    assert read.refused == {
        "no probe for 'ph' on tank 'C9'": 1,
        "time or value cannot be read": 2,
        "value is no number": 1,
        "no probe for '' on tank 'A1'": 1,
    }
    assert read.example["value is no number"] == "row 5: 'nan'"


def test_only_the_span_asked_for_is_read(tmp_path: Path) -> None:
    rows = "".join(f"2026-05-04T12:0{m}:00Z,A1,ph,6.4\n" for m in range(5))
    file = written(tmp_path, "time,tank,quantity,value\n" + rows)
    read = read_readings(file, ROOM, from_ms=NOON + 60_000, to_ms=NOON + 180_000)
    assert [r.at_ms for r in read.readings] == [NOON + 60_000, NOON + 120_000]


def test_a_file_without_the_columns_says_which_are_missing(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no column quantity, value among time, tank"):
        read_readings(written(tmp_path, "time,tank\n"), ROOM)


def test_parquet_holds_the_same_columns(tmp_path: Path) -> None:
    import pyarrow as pa  # noqa: PLC0415
    import pyarrow.parquet as pq  # noqa: PLC0415

    file = tmp_path / "day.parquet"
    table = pa.table(
        {
            "time": pa.array([NOON], pa.timestamp("ms", "UTC")),
            "tank": ["A1"],
            "quantity": ["ph"],
            "value": [6.4],
        }
    )
    pq.write_table(table, file)
    assert read_readings(file, ROOM).readings == [Reading("a1-ph", NOON, 6.4)]


def test_the_keepers_journal_is_read_in_order(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        "time,tank,event,until,detail\n"
        "2026-05-04T13:00:00Z,A1,stage,,spawning\n"
        "2026-05-04T12:00:00Z,A1,water-change,2026-05-04T12:30:00Z,20 %\n",
    )
    first, second = read_journal(file, ROOM)
    assert (first.deed, first.until_ms) == (Deed.WATER_CHANGE, NOON + 1_800_000)
    assert (second.deed, second.detail) == (Deed.STAGE, "spawning")


@given(st.lists(st.integers(0, 20)), st.lists(st.integers(0, 20)))
def test_a_deed_comes_before_the_readings_of_its_moment(said: list[int], done: list[int]) -> None:
    readings = [Reading("a1-ph", at_ms, 6.4) for at_ms in sorted(said)]
    journal = [JournalEntry(at_ms=at_ms, tank="A1", deed=Deed.NOTE) for at_ms in sorted(done)]
    # the standard library's merge is stable: what is equal comes in the order of the lists
    lists: tuple[Sequence[Reading | JournalEntry], ...] = (journal, readings)
    merged = heapq.merge(*lists, key=lambda item: item.at_ms)
    assert list(in_order(readings, journal)) == list(merged)


def test_a_deed_that_cannot_be_understood_is_a_fault_because_it_might_hide_an_alarm(
    tmp_path: Path,
) -> None:
    file = written(
        tmp_path,
        "time,tank,event,until,detail\n2026-05-04T12:00:00Z,A1,polish,,\n"
        "2026-05-04T12:00:00Z,C9,note,,\n"
        "2026-05-04T12:00:00Z,A1,stage,,brunch\n",
    )
    with pytest.raises(SettingsError) as caught:
        read_journal(file, ROOM)
    assert [fault.where for fault in caught.value.faults] == ["day.csv:2", "day.csv:3", "day.csv:4"]


def test_a_stage_in_the_journal_moves_the_windows_as_it_does_in_the_daemon(tmp_path: Path) -> None:
    setup = load_setup(room_file(tmp_path, "A1"), {})
    cool = [Reading("a1-temperature", NOON + m * MINUTE_MS, 24.0) for m in range(90)]
    spawning = JournalEntry(
        at_ms=NOON + 30 * MINUTE_MS, tank="A1", deed=Deed.STAGE, detail="spawning"
    )
    stages = Stages(setup.room_in, {})
    told = list(replay(setup.room, cool, [spawning], limits=setup.limits, stages=stages))
    assert [change.alarm.kind for change in told] == [Kind.BELOW_WINDOW]
    assert told[0].at_ms > spawning.at_ms
    assert not list(replay(setup.room, cool, limits=setup.limits))
