"""The fold: the same readings give the same findings, cut anywhere, interleaved anyhow."""

import json
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.judging.rooms import START, Event, events_of, fold, judged, minutes, one_tank, room_of

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.judging.keeping import Keeping
from roewatch.judging.witness import Witness
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM, Room
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault

HOURS = 28.0
TANKS = ("A2", "A3", "A5", "A6", "B3", "B6")  # half the room: the law is the same, the test quicker


@cache
def eventful() -> tuple[Room, tuple[Event, ...], tuple[Finding, ...]]:
    """A day and more in which much goes wrong, and what a judge without a break finds."""
    sim = boathouse(5, START)
    for fault in (
        SimFault(FaultKind.HEATER_DEAD, "A3", START + 20 * HOUR_MS),
        SimFault(FaultKind.HEATER_STUCK_ON, "B3", START + 22 * HOUR_MS),
        SimFault(FaultKind.PROBE_SILENT, "B6", START + 12 * HOUR_MS, START + 14 * HOUR_MS),
        SimFault(FaultKind.SENSOR_ERROR, "A5", START + 15 * HOUR_MS, START + 16 * HOUR_MS),
        SimFault(FaultKind.PROBE_NOISY, "A6", START + 18 * HOUR_MS, START + 19 * HOUR_MS),
        SimFault(FaultKind.PROBE_PATCHY, "A2", START + 17 * HOUR_MS, START + 21 * HOUR_MS),
        SimFault(FaultKind.PROBE_SILENT, "", START + 25 * HOUR_MS, START + 26 * HOUR_MS),
    ):
        sim.inject(fault)
    whole = room_of(sim)
    tanks = tuple(tank for tank in whole.tanks if tank.id in TANKS)
    probes = tuple(probe for probe in whole.probes if probe.tank in (*TANKS, ROOM))
    room = replace(whole, tanks=tanks, probes=probes)
    known = {probe.id for probe in probes}
    events = tuple(
        event
        for event in events_of(sim, hours=HOURS)
        if (event.tank in TANKS if isinstance(event, JournalEntry) else event.probe in known)
    )
    return room, events, tuple(judged(Judge(room, start_ms=START), events))


def test_there_is_something_to_find() -> None:
    _, _, findings = eventful()
    assert {f.kind.value for f in findings} >= {
        "heater-dead", "heater-stuck-on", "probe-silent", "probe-fault", "room-silent",
        "below-window",
    }  # fmt: skip


@settings(max_examples=5, deadline=None)
@given(st.lists(st.floats(0.01, 0.99), min_size=1, max_size=3))
def test_cut_anywhere_the_findings_are_the_same(cuts: list[float]) -> None:
    room, events, expected = eventful()
    kept: dict[str, str] = {}
    found: list[Finding] = []
    before = 0
    judge = Judge(room, start_ms=START)
    for cut in [*sorted(cuts), 1.0]:
        until = int(cut * len(events))
        found += judged(judge, events[before:until])
        kept.update(judge.changed_states())
        judge = Judge(room, start_ms=START)
        assert judge.restore(kept) == []
        before = until
    assert tuple(found) == expected


def test_the_minutes_that_wait_would_have_changed_nothing() -> None:
    """A restored judge looks at every probe, calm or not; one that never rests finds the same."""
    room, events, expected = eventful()
    found: list[Finding] = []
    judge = Judge(room, start_ms=START)
    for from_ in range(0, len(events), 40):  # two or three minutes
        judge.restore({})
        found += judged(judge, events[from_ : from_ + 40])
    assert tuple(found) == expected


@settings(max_examples=3, deadline=None)
@given(st.integers(0, 1000))
def test_the_order_between_probes_never_matters(seed: int) -> None:
    room, events, expected = eventful()
    random = Random(seed)
    readings = [event for event in events if not isinstance(event, JournalEntry)]
    entries = [event for event in events if isinstance(event, JournalEntry)]
    late = {probe.id: random.randrange(0, 9_000) for probe in room.probes}
    # each probe's readings come in order, but up to nine seconds later than others'
    shuffled: list[tuple[int, int, Event]] = [
        (r.at_ms + late[r.probe], n, r) for n, r in enumerate(readings)
    ]
    shuffled += [(e.at_ms, -1, e) for e in entries]
    found = judged(
        Judge(room, start_ms=START),
        [event for _, _, event in sorted(shuffled, key=lambda s: s[:2])],
    )
    assert sorted(map(_plain, found)) == sorted(map(_plain, expected))


def _plain(finding: Finding) -> str:
    return json.dumps(finding)


def test_a_judge_that_looks_by_the_clock_finds_the_same() -> None:
    room, events, expected = eventful()
    judge = Judge(room, start_ms=START)
    found: list[Finding] = []
    for event in events:
        if isinstance(event, JournalEntry):
            found += judge.enter(event)
        elif isinstance(event, Reading):
            found += judge.advance(event.at_ms)
            found += judge.take(event).findings
    assert tuple(found) == expected


def test_a_bug_in_one_tank_leaves_the_others_judged(monkeypatch: pytest.MonkeyPatch) -> None:
    room, events, expected = eventful()
    judge_tank = Keeping.judge

    def fails_in_a3(keeping: Keeping, *of: Any, **more: Any) -> None:
        if keeping.id == "A3":
            raise RuntimeError("a bug")
        judge_tank(keeping, *of, **more)

    monkeypatch.setattr(Keeping, "judge", fails_in_a3)
    judge = Judge(room, start_ms=START)
    told: list[tuple[str, str]] = []
    judge.on_fault = lambda tank, bug: told.append((tank, str(bug)))
    found = judged(judge, events)
    others = {*TANKS} - {"A3"}
    assert {f.tank for f in expected} >= {"A5", "A6", "B3", "B6"}
    assert [f for f in found if f.tank in others] == [f for f in expected if f.tank in others]
    assert set(told) == {("A3", "a bug")}
    assert len(told) > 26 * 60  # it is tried again at every tick; for an hour the room is silent
    with pytest.raises(RuntimeError, match="a bug"):
        judged(Judge(room, start_ms=START), events)


def test_what_was_found_on_the_way_to_a_reading_that_cannot_be_judged_is_told_later(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    readings = minutes([26.0] * 60 + [23.0] * 60 + [26.0] * 60)
    expected = fold(one_tank(), readings)
    assert [f.present for f in expected if f.kind == "below-window"] == [True, False]
    take = Witness.take

    def fails_with_findings(witness: Witness, reading: Reading, found: tuple[Finding, ...]) -> Any:
        if found:
            raise RuntimeError("a bug")
        return take(witness, reading, found)

    monkeypatch.setattr(Witness, "take", fails_with_findings)
    judge = one_tank()
    found: list[Finding] = []
    for reading in readings:
        try:
            found += judge.take(reading).findings
        except RuntimeError:
            found += judge.advance(reading.at_ms)
            found += judge.take(reading).findings
    assert found == expected


@pytest.mark.parametrize("spoilt", ["nonsense", "[99,[]]", "[1,[1,2]]", "[1,{}]", "{}", "[1,null]"])
def test_a_spoilt_state_is_said_and_the_rest_is_kept(spoilt: str) -> None:
    room, events, _ = eventful()
    judge = Judge(room, start_ms=START)
    judged(judge, events[:2000])
    kept = judge.changed_states()
    kept["judge/probe/A3-temperature"] = spoilt
    kept["judge/tank/A5"] = spoilt
    fresh = Judge(room, start_ms=START)
    assert {lost.key for lost in fresh.restore(kept)} == {
        "judge/probe/A3-temperature",
        "judge/tank/A5",
    }
    assert "A3-temperature" not in fresh.positions()
    assert fresh.positions()["A3-ph"] == judge.positions()["A3-ph"]
    judged(fresh, events[2000:2100])


def test_new_settings_keep_what_was_learned() -> None:
    room, events, _ = eventful()
    judge = Judge(room, start_ms=START)
    judged(judge, [e for e in events if e.at_ms < START + DAY_MS // 2])
    before = judge.learned("A2")
    judge.reconfigure(room)
    assert judge.learned("A2") == before
    assert before.switches_on is not None


def test_nothing_changed_is_nothing_to_keep() -> None:
    room, events, _ = eventful()
    judge = Judge(room, start_ms=START)
    judged(judge, events[:500])
    assert judge.changed_states()
    assert judge.changed_states() == {}
    judge.advance(START + 5 * MINUTE_MS)
    assert set(judge.changed_states()) <= {"judge/room"}
