"""The Boathouse: the invented room keeps its promises while nothing is wrong."""

from collections import Counter, defaultdict
from itertools import islice, pairwise
from statistics import mean, pstdev

import pytest

from roewatch.room.journal import Deed
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.room import Sample, SimRoom

START_MS = 1_764_028_800_000  # 2025-11-25T00:00:00Z
TANKS = [f"{rack}{place}" for rack in "AB" for place in range(1, 7)]


def day_of(seed: int = 1, *, every_ms: int = MINUTE_MS) -> list[Sample]:
    return list(boathouse(seed, START_MS, every_ms=every_ms).run(START_MS + DAY_MS))


@pytest.fixture(scope="module")
def fortnight() -> tuple[SimRoom, list[Sample]]:
    room = boathouse(1, START_MS)
    return room, list(room.run(START_MS + 15 * DAY_MS))


def test_the_same_seed_tells_the_same_story() -> None:
    assert day_of(7) == day_of(7)


def test_another_seed_tells_another() -> None:
    assert day_of(7) != day_of(8)


def test_running_in_pieces_is_running_at_once() -> None:
    room = boathouse(3, START_MS)
    pieces = [
        sample
        for to_ms in range(START_MS, START_MS + DAY_MS + 1, 17 * MINUTE_MS + 123)
        for sample in room.run(to_ms)
    ]
    whole = list(boathouse(3, START_MS).run(pieces[-1].at_ms + 1))
    assert pieces == whole


def test_an_abandoned_run_loses_nothing() -> None:
    room = boathouse(3, START_MS)
    first = list(islice(room.run(START_MS + HOUR_MS), 100))
    rest = list(room.run(START_MS + HOUR_MS))
    assert first + rest == list(boathouse(3, START_MS).run(START_MS + HOUR_MS))


def test_twelve_tanks_speak_each_minute_and_two_have_a_conductivity_cell() -> None:
    seen = Counter((sample.tank, sample.quantity) for sample in day_of())
    expected = {(tank, q) for tank in TANKS for q in (Quantity.TEMPERATURE, Quantity.PH)}
    expected |= {("A1", Quantity.CONDUCTIVITY), ("B1", Quantity.CONDUCTIVITY)}
    expected |= {("room", Quantity.TEMPERATURE)}
    assert set(seen) == expected
    assert set(seen.values()) == {1440}


def test_samples_come_in_order_of_event_time_and_never_twice() -> None:
    samples = day_of()
    assert samples == sorted(samples)
    keys = [(s.at_ms, s.tank, s.quantity) for s in samples]
    assert len(keys) == len(set(keys))


def test_sample_times_wander_a_little_about_their_period() -> None:
    times = [s.at_ms for s in day_of() if s.tank == "A3" and s.quantity is Quantity.PH]
    gaps = [b - a for a, b in pairwise(times)]
    assert mean(gaps) == pytest.approx(MINUTE_MS, abs=5)
    assert 500 < pstdev(gaps) < 4000


def test_the_period_may_be_changed_on_the_way() -> None:
    room = boathouse(1, START_MS, every_ms=2 * MINUTE_MS)
    slow = [s for s in room.run(START_MS + HOUR_MS) if s.tank == "room"]
    room.every_ms = 10_000
    quick = [s for s in room.run(START_MS + 2 * HOUR_MS) if s.tank == "room"]
    assert (len(slow), len(quick)) == (30, 360)


def test_thermometers_report_in_sixteenths_and_electrodes_in_hundredths() -> None:
    for sample in day_of():
        if sample.quantity is Quantity.TEMPERATURE:
            assert (sample.value * 16).is_integer()
        if sample.quantity is Quantity.PH:
            assert sample.value == round(sample.value, 2)


def test_no_water_leaves_its_window_in_a_fortnight(fortnight: tuple[SimRoom, list[Sample]]) -> None:
    room, _ = fortnight
    assert room.excursions == []


def test_tanks_hold_their_temperature_within_the_thermostats_band(
    fortnight: tuple[SimRoom, list[Sample]],
) -> None:
    room, samples = fortnight
    by_tank = defaultdict(list)
    for sample in samples:
        if sample.quantity is Quantity.TEMPERATURE and sample.tank not in ("A1", "room"):
            by_tank[sample.tank].append(sample.value)
    for tank, values in by_tank.items():
        assert mean(values) == pytest.approx(room.tanks[tank].spec.set_c, abs=0.3)
        assert max(values) - min(values) < 1.6  # band, noise and a water change


def test_a1_is_led_from_7_2_to_6_and_from_24_to_27(
    fortnight: tuple[SimRoom, list[Sample]],
) -> None:
    _, samples = fortnight
    for quantity, first, last in ((Quantity.PH, 7.2, 6.0), (Quantity.TEMPERATURE, 24.0, 27.0)):
        values = [s.value for s in samples if s.tank == "A1" and s.quantity is quantity]
        assert mean(values[:900]) == pytest.approx(first, abs=0.25)
        assert mean(values[-900:]) == pytest.approx(last, abs=0.25)


def test_a1_follows_its_plan_day_by_day(fortnight: tuple[SimRoom, list[Sample]]) -> None:
    room, samples = fortnight
    for quantity, within in ((Quantity.PH, 0.15), (Quantity.TEMPERATURE, 0.3)):
        plan = room.plans["A1", quantity]
        for (from_ms, _), (to_ms, meant) in pairwise(plan[1:]):
            night = [
                s.value for s in samples
                if s.tank == "A1" and s.quantity is quantity
                and to_ms <= s.at_ms < to_ms + 18 * HOUR_MS
            ]  # fmt: skip
            assert to_ms - from_ms == DAY_MS
            assert mean(night) == pytest.approx(meant, abs=within)


def test_conditioning_never_moves_ph_faster_than_adults_bear(
    fortnight: tuple[SimRoom, list[Sample]],
) -> None:
    # trade notes, section 3: adults 0.3-0.5 pH a day is common practice
    _, samples = fortnight
    values = [s.value for s in samples if s.tank == "A1" and s.quantity is Quantity.PH]
    for start in range(0, len(values) - 1440, 60):
        day = values[start : start + 1440]
        assert max(day) - min(day) < 0.42


def test_ph_is_higher_when_the_lamps_have_burned(fortnight: tuple[SimRoom, list[Sample]]) -> None:
    _, samples = fortnight
    values = [(s.at_ms % DAY_MS // HOUR_MS, s.value) for s in samples
              if s.tank == "B2" and s.quantity is Quantity.PH]  # fmt: skip
    evening = mean(v for hour, v in values if 15 <= hour < 18)  # UTC; lamps 7 to 18
    dawn = mean(v for hour, v in values if 4 <= hour < 7)
    assert 0.03 < evening - dawn < 0.3


def test_every_tank_but_a1_has_its_water_changed_weekly_and_logged(
    fortnight: tuple[SimRoom, list[Sample]],
) -> None:
    room, _ = fortnight
    changes = Counter(e.tank for e in room.journal if e.deed is Deed.WATER_CHANGE)
    assert set(TANKS) <= set(changes)
    assert all(2 <= changes[tank] <= 3 for tank in TANKS if tank != "A1")


def test_the_journal_tells_a1s_doses() -> None:
    room = boathouse(1, START_MS)
    list(room.run(START_MS + 3 * DAY_MS))
    notes = [e for e in room.journal if e.tank == "A1" and e.deed is Deed.NOTE]
    assert len(notes) == 1
    assert "acid" in notes[0].detail


def test_probes_that_never_speak_are_refused() -> None:
    with pytest.raises(ValueError, match="every_ms"):
        boathouse(1, START_MS, every_ms=0)
