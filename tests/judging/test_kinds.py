"""What is wrong has a name: faults of every sort in a simulated room, each by its own kind."""

from functools import cache

import pytest
from tests.judging.rooms import (
    START,
    Event,
    events_of,
    fold,
    judged,
    kinds,
    minutes,
    one_tank,
    probe,
    room,
    room_of,
    tank,
)

from roewatch.judging.judge import Judge
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.window import Window
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.keeper import Calibrating, WaterChange
from roewatch_sim.room import SimRoom

BEGUN = START + 2 * DAY_MS + 8 * HOUR_MS


@pytest.mark.parametrize(
    "kind",
    [FaultKind.PROBE_CLOCK_BACK, FaultKind.PROBE_CLOCK_FROZEN, FaultKind.PROBE_CLOCK_AHEAD],
)
def test_a_boards_wrong_clock_is_told_of_all_its_probes_and_of_nothing_else(
    kind: FaultKind,
) -> None:
    sim = boathouse(12, START)
    sim.inject(SimFault(kind, "A2", START + 2 * HOUR_MS, START + 5 * HOUR_MS))
    found = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=7))
    assert {(f.tank, f.kind, f.present) for f in found} == {
        ("A2", "probe-clock", True), ("A2", "probe-clock", False)
    }  # fmt: skip
    told = [f for f in found if f.present]
    assert {f.quantity for f in told} == set(sim.tanks["A2"].spec.quantities)
    assert max(f.at_ms for f in told) < START + 2 * HOUR_MS + 25 * MINUTE_MS


def ailing() -> SimRoom:
    """A room in which a dozen things go wrong, each in a tank or at a time of its own."""
    sim = boathouse(11, START)
    hour = HOUR_MS
    for fault in (
        SimFault(FaultKind.PROBE_DRY, "A2", BEGUN, BEGUN + 3 * hour),
        SimFault(FaultKind.PROBE_BUFFER, "A3", BEGUN),
        SimFault(FaultKind.PROBE_SWAPPED, "A4", BEGUN, BEGUN + 5 * hour, other="A6"),
        SimFault(FaultKind.BAD_WATER_CHANGE, "A5", BEGUN),
        SimFault(FaultKind.ACID_OVERDOSE, "B1", BEGUN),
        SimFault(FaultKind.PH_CRASH, "B2", BEGUN, BEGUN + 10 * hour),
        SimFault(FaultKind.HEATER_WEAK, "B3", BEGUN, BEGUN + 20 * hour),
        SimFault(FaultKind.HARD_WATER, "B4", BEGUN),
        SimFault(FaultKind.THERMOSTAT_MOVED, "B5", BEGUN, BEGUN + 20 * hour),
        SimFault(FaultKind.CYCLE_WIDE, "B6", BEGUN, BEGUN + 20 * hour),
        SimFault(FaultKind.PROBE_NOISY, "A2", BEGUN + 8 * hour, BEGUN + 10 * hour),
        SimFault(FaultKind.PROBE_STUCK, "A3", BEGUN + 8 * hour, BEGUN + 12 * hour),
    ):
        sim.inject(fault)
    return sim


@cache
def told() -> tuple[tuple[str, int], ...]:
    """Each raise with the minutes after the faults began."""
    sim = ailing()
    findings = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=76))
    return tuple(
        (f"{f.tank} {f.kind}", (f.at_ms - BEGUN) // MINUTE_MS)
        for f in findings
        if f.present and not f.explained
    )


@pytest.mark.parametrize(
    ("word", "within_min"),
    [
        ("A2 probe-dry", 15),
        ("A3 probe-in-buffer", 6),
        ("A4 probe-swapped", 8),
        ("A6 probe-swapped", 8),
        ("A5 bad-water-change", 9),
        ("B1 acid-overdose", 12),
        ("B2 ph-crash", 3 * 60),
        ("B3 heater-weak", 6 * 60),
        ("B4 hard-water", 12),
        ("B5 thermostat-moved", 10 * 60),
        ("B6 cycle-too-wide", 10 * 60),
        ("A2 probe-noisy", 9 * 60),
        ("A3 probe-stuck", 10 * 60),
    ],
)
def test_each_fault_is_found_by_its_kind_and_in_time(word: str, within_min: int) -> None:
    first = next((at for told_word, at in told() if told_word == word), None)
    assert first is not None, f"{word} was never told; of that tank: " + ", ".join(
        w for w, _ in told() if w.startswith(word[:2])
    )
    assert 0 <= first <= within_min


def test_a_lying_probe_pages_nobody_about_the_water() -> None:
    water = {"below-window", "above-window", "heater-dead", "heater-stuck-on", "bad-water-change"}
    liars = {"A2", "A3", "A4", "A6"}
    assert [w for w, _ in told() if w[:2] in liars and w[3:] in water] == []


def test_a_cold_room_is_one_finding() -> None:
    sim = boathouse(12, START)
    sim.inject(SimFault(FaultKind.ROOM_COLD, "", START + 2 * DAY_MS, START + 3 * DAY_MS))
    found = kinds(judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=62)))
    assert "room room-heating-lost" in found
    assert [word for word in found if "weak" in word or "dead" in word] == []


def test_what_the_keeper_logs_is_explained() -> None:
    sim = boathouse(13, START)
    at_ms = START + 2 * DAY_MS + 9 * HOUR_MS
    sim.plan_chore(WaterChange(at_ms=at_ms, tank="B1", share=0.25, cooler_k=2.0))
    sim.plan_chore(Calibrating(at_ms=at_ms, tank="B2"))
    sim.inject(SimFault(FaultKind.PROBE_BUFFER, "B2", at_ms + MINUTE_MS, at_ms + 17 * MINUTE_MS))
    findings = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=64))
    assert kinds(findings) == []
    explained = [f for f in findings if f.tank == "B1" and f.explained]
    assert [f.present for f in explained] == [True, False]


def test_a_logged_change_far_too_cold_is_told_all_the_same() -> None:
    sim = boathouse(14, START)
    at_ms = START + 2 * DAY_MS
    sim.inject(SimFault(FaultKind.BAD_WATER_CHANGE, "B1", at_ms))
    entry = JournalEntry(
        at_ms=at_ms, tank="B1", deed=Deed.WATER_CHANGE, until_ms=at_ms + 10 * MINUTE_MS
    )
    events: list[Event] = [*events_of(sim, hours=50)]
    place = next(n for n, e in enumerate(events) if isinstance(e, Reading) and e.at_ms >= at_ms)
    events.insert(place, entry)
    assert "B1 bad-water-change" in kinds(judged(Judge(room_of(sim), start_ms=START), events))


@pytest.mark.parametrize(("before", "told"), [(5.0, False), (6.0, True)])
def test_a_logged_change_that_brings_the_ph_back_into_its_window_is_no_hard_water(
    before: float, *, told: bool
) -> None:
    of_ph = probe("A1-ph", "A1", Quantity.PH)
    ill = tank(celsius=None, ph=Window(low=5.5, high=6.5))
    judge = Judge(room([ill], [of_ph]), start_ms=START)
    hours = 40
    rising = [before + 0.9 * n / 15 for n in range(16)] + [before + 0.9] * 60
    said = [value + n % 3 / 100 for n, value in enumerate([before] * hours * 60 + rising)]
    readings = minutes(said, of="A1-ph")
    at_ms = START + hours * HOUR_MS
    change = JournalEntry(
        at_ms=at_ms, tank="A1", deed=Deed.WATER_CHANGE, until_ms=at_ms + 15 * MINUTE_MS
    )
    found = judged(judge, [*readings[: hours * 60], change, *readings[hours * 60 :]])
    assert ("A1 hard-water" in kinds(found)) is told


def test_sensor_steps_at_ten_seconds_are_nothing() -> None:
    said = [26.0 + (n * 7 % 5 - 2) / 16 for n in range(2 * 8640)]
    readings = [Reading("A1-t", START + n * 10_000, value) for n, value in enumerate(said)]
    judge = Judge(room([tank()], [probe(every_ms=10_000)]), start_ms=START)
    assert kinds(fold(judge, readings)) == []


def test_summer_time_is_nothing_to_event_time() -> None:
    # clocks go forward on 2026-03-29 at 01:00 UTC in Europe/Tallinn; event time does not
    first = (28 * DAY_MS + 20 * HOUR_MS) // MINUTE_MS
    said = [26.0 + (n % 3) / 16 for n in range(12 * 60)]
    judge = one_tank()
    judge.resume(START + first * MINUTE_MS)
    assert kinds(fold(judge, minutes(said, first=first))) == []


def test_what_is_learned_is_the_tank() -> None:
    sim = boathouse(15, START)
    judge = Judge(room_of(sim), start_ms=START)
    judged(judge, events_of(sim, hours=48))
    for name in ("A2", "A5", "B2", "B5"):
        learned, true = judge.learned(name), sim.tanks[name]
        offset = true.probe(Quantity.TEMPERATURE).spec.offset
        low, high = true.set_c - true.spec.half_band, true.set_c + true.spec.half_band
        assert learned.switches_on == pytest.approx(low + offset, abs=0.12)
        assert learned.switches_off == pytest.approx(high + offset, abs=0.12)
        assert learned.time_constant_h == pytest.approx(true.spec.heat.time_constant_h, rel=0.3)
