"""Broods in the running daemon: one record moves the tank on, and the parents have an alarm."""

from itertools import count
from pathlib import Path

import pytest
from tests.service.by_hand import HandClock, House, house

from roewatch.alarms.alarm import State
from roewatch.breeding.brood import Brood, brood_of
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.stage import Stage

BROOD = "2026-1"
_numbers = count(1)


def record(
    at: House,
    act: BroodAct,
    *,
    ago_ms: int = 0,
    tank: str = "",
    detail: str = "",
    replaces: str = "",
    fields: dict[str, str] | None = None,
) -> BroodRecord:
    now_ms = at.clock.now_ms()
    return BroodRecord(
        id=f"r{next(_numbers)}", brood=BROOD, at_ms=now_ms - ago_ms, made_ms=now_ms, act=act,
        by="Keeper", tank=tank, detail=detail, replaces=replaces, fields=fields or {},
    )  # fmt: skip


def told(at: House, *records: BroodRecord) -> str:
    """Records them as a page would; returns the refusal, or nothing."""
    raised = at.from_elsewhere(lambda: at.watch.record(records))
    if raised is not None and not isinstance(raised, ValueError):
        raise raised
    return str(raised or "")


def start(at: House, tank: str = "A1", species: str = "boraras-brigittae") -> BroodRecord:
    begun = record(
        at, BroodAct.STARTED, tank=tank, ago_ms=DAY_MS,
        fields={"species": species, "stage": "conditioning"},
    )  # fmt: skip
    assert told(at, begun) == ""
    return begun


def now(at: House, act: BroodAct, **more: object) -> BroodRecord:
    made = record(at, act, **more)  # type: ignore[arg-type]
    assert told(at, made) == ""
    return made


def undo(at: House, what: BroodRecord) -> BroodRecord:
    return now(at, BroodAct.WITHDRAWN, replaces=what.id)


def brood(at: House) -> Brood:
    return brood_of(BROOD, at.store.brood_records())


def stage(at: House, tank: str = "A1") -> Stage:
    return at.watch.room.tank(tank).stage


def parents(at: House) -> list[tuple[str, bool]]:
    return [(a.tank, a.present) for a in at.open_alarms(Kind.PARENTS_NOT_OUT)]


# -- stages ------------------------------------------------------------------------------------


def test_a_record_moves_the_tank_on_in_the_same_step(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        start(at)
        assert stage(at) is Stage.CONDITIONING
        now(at, BroodAct.SPAWNED)
        assert stage(at) is Stage.EGGS
        now(at, BroodAct.HATCHED)
        now(at, BroodAct.SWIMMING)
        assert stage(at) is Stage.FRY
        assert stage(at, "A2") is Stage.HOLDING
        assert at.watch.room == at.setup.room_in({"A1": Stage.FRY})


def test_an_undo_puts_the_former_stage_back_and_keeps_what_was_said(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        before = brood(at)
        eggs = now(at, BroodAct.SPAWNED)
        taken_back = undo(at, eggs)
        assert stage(at) is Stage.CONDITIONING
        assert brood(at).records == before.records
        assert [old.record for old in brood(at).superseded] == [eggs]
        undo(at, taken_back)
        assert stage(at) is Stage.EGGS


def test_a_corrected_time_is_one_step_and_the_old_one_is_kept(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        eggs = now(at, BroodAct.SPAWNED)
        now(at, BroodAct.SPAWNED, ago_ms=3 * HOUR_MS, replaces=eggs.id)
        assert stage(at) is Stage.EGGS
        assert brood(at).spawned_ms == at.clock.now_ms() - 3 * HOUR_MS
        assert brood(at).superseded[0].record == eggs


def test_the_stage_of_a_brood_survives_a_restart(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        start(at)
        eggs = now(at, BroodAct.SPAWNED)
    with house(tmp_path, clock=clock) as at:
        assert stage(at) is Stage.EGGS
        undo(at, eggs)
        assert stage(at) is Stage.CONDITIONING


def test_what_happened_earlier_than_the_present_stage_moves_nothing(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.HATCHED)
        now(at, BroodAct.SPAWNED, ago_ms=5 * HOUR_MS)
        assert stage(at) is Stage.LARVAE


def test_what_was_recorded_late_is_the_stage_once_the_later_is_undone(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        start(at)
        hatched = now(at, BroodAct.HATCHED)
        now(at, BroodAct.SPAWNED, ago_ms=5 * HOUR_MS)
    with house(tmp_path, clock=clock) as at:
        undo(at, hatched)
        assert stage(at) is Stage.EGGS


def test_of_two_stages_at_one_moment_an_undo_takes_back_one(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED)
        hatched = now(at, BroodAct.HATCHED)
        assert stage(at) is Stage.LARVAE
        undo(at, hatched)
        assert stage(at) is Stage.EGGS


def test_eggs_that_are_moved_take_their_stage_with_them(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        start(at)
        now(at, BroodAct.SPAWNED)
        now(at, BroodAct.MOVED, tank="A2")
        assert stage(at, "A2") is Stage.EGGS
        assert brood(at).tank == "A2"


def test_a_record_sent_twice_is_kept_once(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        eggs = now(at, BroodAct.SPAWNED)
        assert told(at, eggs, eggs) == ""
        assert [r.act for r in at.store.brood_records()] == [BroodAct.STARTED, BroodAct.SPAWNED]


# -- refusals ----------------------------------------------------------------------------------


def test_what_cannot_be_recorded_is_refused_and_nothing_of_it_kept(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        assert "no brood '2026-1'" in told(at, record(at, BroodAct.SPAWNED))
        start(at)
        good = record(at, BroodAct.SPAWNED)
        for wrong, why in (
            (record(at, BroodAct.STARTED, tank="A1"), "begun already"),
            (record(at, BroodAct.NOTE, ago_ms=-HOUR_MS), "still to come"),
            (record(at, BroodAct.NOTE, tank="Z9"), "no tank 'Z9'; there are: A1"),
            (record(at, BroodAct.STAGE, detail="asleep"), "write one of: holding"),
            (record(at, BroodAct.WITHDRAWN, replaces="r0"), "no record 'r0'"),
            (record(at, BroodAct.MOVED), "name the tank"),
            (record(at, BroodAct.COUNTED), "how many"),
        ):
            assert why in told(at, good, wrong)
        assert stage(at) is Stage.CONDITIONING
        assert len(at.store.brood_records()) == 1


@pytest.mark.parametrize(
    ("tank", "species", "why"),
    [
        ("", "boraras-brigittae", "name the tank"),
        ("Z9", "boraras-brigittae", "no tank 'Z9'"),
        ("A1", "boraras-brigitae", "no species sheet 'boraras-brigitae'; there are: aph"),
    ],
)
def test_a_start_names_a_tank_and_a_species_there_is(
    tmp_path: Path, tank: str, species: str, why: str
) -> None:
    with house(tmp_path) as at:
        begun = record(at, BroodAct.STARTED, tank=tank, fields={"species": species})
        assert why in told(at, begun)


# -- the parents' alarm ------------------------------------------------------------------------


def test_parents_left_with_the_eggs_raise_an_alarm_after_an_hour(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        at.lives(70)
        assert parents(at) == []  # no eggs yet
        now(at, BroodAct.SPAWNED)
        at.lives(55)
        assert parents(at) == []
        at.lives(10)
        assert parents(at) == [("A1", True)]
        at.lives(120)
        assert parents(at) == [("A1", True)]
        assert len(at.raised(Kind.PARENTS_NOT_OUT)) == 1
        assert "2026-1" in at.open_alarms(Kind.PARENTS_NOT_OUT)[0].message
        now(at, BroodAct.PARENTS_OUT)
        assert parents(at) == [("A1", False)]


def test_parents_taken_out_in_time_raise_nothing(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED)
        at.lives(30)
        now(at, BroodAct.PARENTS_OUT)
        at.lives(90)
        assert parents(at) == []


def test_eggs_recorded_late_raise_it_at_once(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED, ago_ms=5 * HOUR_MS)
        assert parents(at) == [("A1", True)]


@pytest.mark.parametrize("how", ["eggs undone", "ended", "moved", "ticked"])
def test_the_alarm_ends_with_whatever_ends_its_reason(tmp_path: Path, how: str) -> None:
    with house(tmp_path, "A1", "A2") as at:
        start(at)
        eggs = now(at, BroodAct.SPAWNED, ago_ms=2 * HOUR_MS)
        assert parents(at) == [("A1", True)]
        if how == "eggs undone":
            undo(at, eggs)
        elif how == "ended":
            now(at, BroodAct.ENDED, fields={"outcome": "lost"})
        elif how == "moved":
            now(at, BroodAct.MOVED, tank="A2")
        else:
            now(at, BroodAct.DONE, detail=f"{BROOD}/parents-out")
        assert parents(at) == [("A1", False)]


def test_undoing_parents_out_raises_it_again(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED, ago_ms=2 * HOUR_MS)
        out = now(at, BroodAct.PARENTS_OUT)
        undo(at, out)
        assert parents(at) == [("A1", True)]


def test_the_alarm_survives_a_restart_and_is_not_raised_twice(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        start(at)
        now(at, BroodAct.SPAWNED, ago_ms=2 * HOUR_MS)
        (alarm,) = at.open_alarms(Kind.PARENTS_NOT_OUT)
    clock.pass_by(10 * MINUTE_MS)
    with house(tmp_path, clock=clock) as at:
        at.lives(10)
        (still,) = at.open_alarms(Kind.PARENTS_NOT_OUT)
        assert (still.number, still.raised_ms) == (alarm.number, alarm.raised_ms)
        assert at.raised(Kind.PARENTS_NOT_OUT) == []
        now(at, BroodAct.PARENTS_OUT)
        assert parents(at) == [("A1", False)]


def test_an_hour_that_ran_out_while_the_daemon_was_down_is_told_at_the_start(
    tmp_path: Path,
) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        start(at)
        now(at, BroodAct.SPAWNED)
    clock.pass_by(2 * HOUR_MS)
    with house(tmp_path, clock=clock) as at:
        at.lives(2)
        assert parents(at) == [("A1", True)]


def test_a_guarding_father_is_asked_for_only_once_the_young_swim(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at, species="trichopsis-pumila")
        now(at, BroodAct.SPAWNED, ago_ms=100 * HOUR_MS)
        assert parents(at) == [("A1", True)]
        now(at, BroodAct.PARENTS_OUT, fields={"who": "female"})
        assert parents(at) == [("A1", False)]
        now(at, BroodAct.SWIMMING, ago_ms=13 * HOUR_MS)
        assert parents(at) == [("A1", True)]
        now(at, BroodAct.PARENTS_OUT, fields={"who": "male"})
        assert parents(at) == [("A1", False)]


def test_parents_that_guard_a_cave_may_stay(tmp_path: Path) -> None:
    # parents go out at once "except nest and cave brooders", common practice
    with house(tmp_path) as at:
        start(at, species="apistogramma-cacatuoides")
        now(at, BroodAct.SPAWNED, ago_ms=2 * HOUR_MS)
        assert parents(at) == []


def test_the_alarm_is_high_and_says_what_to_do(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED, ago_ms=2 * HOUR_MS)
        (alarm,) = at.open_alarms(Kind.PARENTS_NOT_OUT)
        assert (alarm.priority.value, alarm.state) == ("high", State.UNACKNOWLEDGED)
        at.lives(2)
        at.rounds_until(lambda: bool(at.phone.got), "the keeper is told")
        assert "parents" in at.phone.got[0].title
        assert "Unplug at the wall before hands go in" in at.phone.got[0].body
