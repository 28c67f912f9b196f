"""A tank moves to another stage: its windows follow at once, and still do after a restart."""

from dataclasses import replace
from pathlib import Path

import pytest
from tests.service.by_hand import HandClock, House, house, room_file

from roewatch.room.journal import Amendment, Deed, JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage


def moved(
    at: House, stage: str, *, tank: str = "A1", at_ms: int | None = None
) -> BaseException | None:
    when = at.clock.now_ms() if at_ms is None else at_ms
    entry = JournalEntry(at_ms=when, tank=tank, deed=Deed.STAGE, detail=stage)
    return at.from_elsewhere(lambda: at.watch.enter(entry))


def stage_of(at: House, tank: str = "A1") -> Stage:
    return at.watch.room.tank(tank).stage


def test_a_stage_in_the_journal_changes_what_is_judged_at_once(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        holding = at.watch.room.tank("A1").windows[Quantity.TEMPERATURE]
        spawning = at.setup.tank_in("A1", Stage.SPAWNING).windows[Quantity.TEMPERATURE]
        assert holding != spawning
        low = spawning.low
        assert low is not None
        assert holding.low is not None
        between = (holding.low + low) / 2
        at.lives(20, celsius=between)
        assert at.raised(Kind.BELOW_WINDOW) == []
        assert moved(at, "spawning") is None
        at.lives(20, celsius=between)
        assert [c.alarm.tank for c in at.raised(Kind.BELOW_WINDOW)] == ["A1"]
        assert stage_of(at, "A2") is Stage.HOLDING


def test_a_stage_survives_a_restart_with_the_same_settings(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        assert moved(at, "Eggs") is None
    with house(tmp_path, clock=clock) as at:
        assert stage_of(at) is Stage.EGGS
        assert at.watch.room == at.setup.room_in({"A1": Stage.EGGS})


def test_a_stage_written_into_the_settings_afterwards_is_the_newer_word(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        assert moved(at, "eggs") is None
    room_file(tmp_path, "A1", stage="growing")
    with house(tmp_path, clock=clock) as at:
        assert stage_of(at) is Stage.GROWING
        assert moved(at, "fry") is None
    with house(tmp_path, clock=clock) as at:
        assert stage_of(at) is Stage.FRY


@pytest.mark.parametrize("restarted", [False, True])
def test_a_notice_speaks_of_the_stage_the_tank_is_in(tmp_path: Path, restarted: bool) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        assert moved(at, "fry") is None
        if not restarted:
            assert "Do within 30 min: " in warmed(at)
    if restarted:
        with house(tmp_path, clock=clock) as at:
            assert "Do within 30 min: " in warmed(at)


def warmed(at: House) -> str:
    """The text of the first notice once the tank is far too warm."""
    at.lives(12, celsius=31.0)
    at.rounds_until(lambda: len(at.phone.got) >= 1, "the phone heard")
    return at.phone.got[0].body


def test_an_entry_of_the_past_is_kept_and_moves_nothing(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        assert moved(at, "fry") is None
        assert moved(at, "eggs", at_ms=at.clock.now_ms() - 86_400_000) is None
        assert stage_of(at) is Stage.FRY
        (entries,) = at.store._db.execute("SELECT count(*) FROM journal").fetchone()
        assert entries == 2


def test_a_stage_nobody_knows_is_refused_with_those_there_are_and_nothing_is_kept(
    tmp_path: Path,
) -> None:
    with house(tmp_path) as at:
        said = moved(at, "teenage")
        assert isinstance(said, ValueError)
        assert "conditioning" in str(said)
        assert isinstance(moved(at, "fry", tank="room"), ValueError)
        assert stage_of(at) is Stage.HOLDING
        assert at.store._db.execute("SELECT count(*) FROM journal").fetchone() == (0,)


def test_alarms_of_a_tank_taken_out_of_the_settings_end(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, "A1", "A2", clock=clock) as at:
        at.lives(12, celsius=31.0)
        assert {a.tank for a in at.open_alarms(Kind.ABOVE_WINDOW)} == {"A1", "A2"}
    room_file(tmp_path, "A2")
    with house(tmp_path, clock=clock) as at:
        at.lives(2, celsius=31.0)
        assert {a.tank for a in at.open_alarms(Kind.ABOVE_WINDOW)} == {"A2"}


def withdrawn(at: House, number: int, *, instead: JournalEntry | None = None) -> str:
    amendment = Amendment(number=number, entry=instead, at_ms=at.clock.now_ms(), by="Keeper")
    return str(at.from_elsewhere(lambda: at.watch.amend(amendment)) or "")


def test_a_stage_that_is_withdrawn_leaves_the_tank_in_the_one_before(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        for stage in ("conditioning", "spawning", "eggs"):
            clock.pass_by(MINUTE_MS)
            assert moved(at, stage) is None
        assert withdrawn(at, 3) == ""
        assert stage_of(at) is Stage.SPAWNING
        assert at.watch.room == at.setup.room_in({"A1": Stage.SPAWNING})
        assert withdrawn(at, 1) == ""
    with house(tmp_path, clock=clock) as at:
        assert stage_of(at) is Stage.SPAWNING
        assert withdrawn(at, 2) == ""
        assert stage_of(at) is Stage.HOLDING
        assert withdrawn(at, 2) == "there is no record 2; it may be withdrawn"
    with house(tmp_path, clock=clock) as at:
        assert stage_of(at) is Stage.HOLDING


def test_a_stage_is_corrected_and_its_windows_follow(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        assert moved(at, "eggs") is None
        entry = JournalEntry(at_ms=at.clock.now_ms(), tank="A1", deed=Deed.STAGE, detail="spawning")
        assert withdrawn(at, 1, instead=entry) == ""
        assert stage_of(at) is Stage.SPAWNING
        said = withdrawn(at, 1, instead=replace(entry, detail="nonsense"))
        assert "no stage 'nonsense'" in said
        assert stage_of(at) is Stage.SPAWNING
        assert "keeps tank and deed" in withdrawn(at, 1, instead=replace(entry, deed=Deed.NOTE))


def test_a_water_change_that_is_withdrawn_no_longer_widens_the_window(tmp_path: Path) -> None:
    with house(tmp_path, stage="spawning") as at:
        low = at.watch.room.tank("A1").windows[Quantity.TEMPERATURE].low
        assert low is not None
        at.lives(20, celsius=low + 0.5)
        entry = JournalEntry(at_ms=at.clock.now_ms(), tank="A1", deed=Deed.WATER_CHANGE)
        assert at.from_elsewhere(lambda: at.watch.enter(entry)) is None
        at.lives(12, celsius=low - 0.4)
        assert at.raised(Kind.BELOW_WINDOW) == [], "inside the wider limit"
        assert withdrawn(at, 1) == ""
        at.lives(12, celsius=low - 0.4)
        assert len(at.raised(Kind.BELOW_WINDOW)) == 1
