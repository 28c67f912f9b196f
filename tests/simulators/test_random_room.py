"""Random rooms for benches: labelled, repeatable, healthy where they say so."""

import itertools
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from roewatch.room.journal import Deed
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.calendar import COURSES, LEARN_DAYS
from roewatch_sim.description import described
from roewatch_sim.fault import OF_THE_ROOM, FaultKind
from roewatch_sim.random_room import START_MS, random_room
from roewatch_sim.room import SimRoom


@pytest.fixture(scope="module")
def month() -> SimRoom:
    room = random_room(11, 8, healthy=4, faults=24)
    for _ in room.run(START_MS + 30 * DAY_MS):
        pass
    return room


def test_the_same_seed_is_the_same_room_and_the_same_faults() -> None:
    one, two = (random_room(5, 6, healthy=3, faults=12) for _ in range(2))
    assert one.labels == two.labels
    assert list(one.run(START_MS + DAY_MS)) == list(two.run(START_MS + DAY_MS))


def test_a_few_tanks_of_a_room_go_as_they_do_in_the_whole() -> None:
    whole, few = (random_room(5, 6, healthy=3, faults=12, only=only) for only in ((), ("T05",)))
    assert "T05" in few.tanks
    assert set(few.tanks) < set(whole.tanks)
    mine = [f for f in whole.labels if not f.tank or f.tank in few.tanks]
    assert [f for f in few.labels if f.tank in ("", "T05")] == [
        f for f in mine if f.tank in ("", "T05")
    ]
    for room in (whole, few):
        for _ in room.run(START_MS + 8 * DAY_MS):
            pass
    assert few.truth("T05") == whole.truth("T05")


def test_the_same_seed_is_the_same_room_in_another_process(tmp_path: Path) -> None:
    words = []
    for hash_seed in ("1", "2"):  # the order of sets and names must not leak into the draw
        file = tmp_path / f"{hash_seed}.csv"
        program = (
            "import sys; from roewatch_sim.random_room import random_room, START_MS;"
            "room = random_room(5, 6, healthy=3, faults=12);"
            "said = list(room.run(START_MS + 3_600_000));"
            f"open({str(file)!r}, 'w').write(repr((room.labels, said)))"
        )
        path = os.pathsep.join(entry for entry in sys.path if entry)
        environment = os.environ | {"PYTHONHASHSEED": hash_seed, "PYTHONPATH": path}
        subprocess.run([sys.executable, "-c", program], env=environment, check=True, timeout=60)
        words.append(file.read_text())
    assert words[0] == words[1]


def test_rooms_differ_by_seed_in_tanks_house_and_faults() -> None:
    one, two = random_room(1, 6, healthy=3, faults=12), random_room(2, 6, healthy=3, faults=12)
    assert one.air.climate != two.air.climate
    assert one.tanks["T01"].spec != two.tanks["T01"].spec
    assert one.labels != two.labels


def test_as_many_faults_as_asked_of_every_kind_that_is_a_fault() -> None:
    kinds = Counter(fault.kind for fault in random_room(3, faults=54).labels)
    assert sum(kinds.values()) == 54
    assert set(kinds) == set(FaultKind) - {FaultKind.WATER_CHANGE}
    assert set(kinds) == set(COURSES)


def test_healthy_tanks_are_never_struck_but_by_the_room(month: SimRoom) -> None:
    struck = {fault.tank for fault in month.labels} | {fault.other for fault in month.labels}
    assert not struck & {"T01", "T02", "T03", "T04"}
    assert all(fault.kind in OF_THE_ROOM for fault in month.labels if not fault.tank)


def test_nothing_goes_wrong_while_a_judge_learns(month: SimRoom) -> None:
    first_ms = START_MS + LEARN_DAYS * DAY_MS
    assert all(fault.at_ms >= first_ms for fault in month.labels)
    assert all(out.from_ms >= first_ms for out in month.excursions)


def test_faults_on_one_tank_never_overlap(month: SimRoom) -> None:
    for tank in month.tanks:
        spans = sorted(
            (f.at_ms, f.until_ms or 0) for f in month.labels if tank in (f.tank, f.other)
        )
        assert all(end <= begin for (_, end), (begin, _) in itertools.pairwise(spans))


def test_water_leaves_its_window_only_because_of_a_labelled_fault(month: SimRoom) -> None:
    for out in month.excursions:
        causes = [
            fault
            for fault in month.labels
            if fault.tank in (out.tank, "")
            and fault.at_ms <= out.from_ms <= (fault.until_ms or 0) + 6 * HOUR_MS
        ]
        assert causes, out


def test_faults_that_must_lead_out_of_the_window_do(month: SimRoom) -> None:
    for fault in month.labels:
        if fault.kind in (FaultKind.BAD_WATER_CHANGE, FaultKind.ACID_OVERDOSE):
            assert month.exits_of(fault)


def test_the_keepers_habits_are_in_the_journal(month: SimRoom) -> None:
    for tank in month.tanks:
        deeds = Counter(entry.deed for entry in month.journal if entry.tank == tank)
        assert deeds[Deed.WATER_CHANGE] >= 3
        assert deeds[Deed.CALIBRATION] >= 1


def test_the_room_is_described_in_the_daemons_own_words() -> None:
    room = random_room(4, 5, healthy=5, every_ms=10_000)
    told = described(room, "bench")
    samples = list(room.run(START_MS + HOUR_MS))
    spoken = {(s.tank, s.quantity) for s in samples}
    assert {(probe.tank, probe.quantity) for probe in told.probes} == spoken
    assert {probe.every_ms for probe in told.probes} == {10_000}
    for tank in told.tanks:
        assert tank.windows[Quantity.TEMPERATURE].outside_by(room.truth(tank.id).celsius) == 0


def test_more_faults_than_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        random_room(1, 2, healthy=1, faults=200)


def test_faults_without_a_tank_to_strike_are_refused() -> None:
    with pytest.raises(ValueError, match="fewer healthy"):
        random_room(1, 3, healthy=3, faults=1)


def test_a_large_room_has_as_many_tanks_as_asked() -> None:
    room = random_room(1, 2500, healthy=2500)
    assert len(room.tanks) == 2500
    assert "T0001" in room.tanks
