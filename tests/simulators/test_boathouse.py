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
Heard = dict[tuple[str, Quantity], list[tuple[int, float]]]
TANKS = [f"{rack}{place}" for rack in "AB" for place in range(1, 7)]


def day_of(seed: int = 1, *, every_ms: int = MINUTE_MS) -> list[Sample]:
    return list(boathouse(seed, START_MS, every_ms=every_ms).run(START_MS + DAY_MS))


@pytest.fixture(scope="module")
def fortnight() -> tuple[SimRoom, Heard]:
    room = boathouse(1, START_MS)
    heard = defaultdict(list)
    for sample in room.run(START_MS + 15 * DAY_MS):
        heard[sample.tank, sample.quantity].append((sample.at_ms, sample.value))
    return room, heard


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


def test_no_water_leaves_its_window_in_a_fortnight(fortnight: tuple[SimRoom, Heard]) -> None:
    room, _ = fortnight
    assert room.excursions == []


def test_tanks_hold_their_temperature_within_the_thermostats_band(
    fortnight: tuple[SimRoom, Heard],
) -> None:
    room, heard = fortnight
    for tank in TANKS[1:]:
        values = [value for _, value in heard[tank, Quantity.TEMPERATURE]]
        assert mean(values) == pytest.approx(room.tanks[tank].spec.set_c, abs=0.3)
        assert max(values) - min(values) < 1.6  # band, noise and a water change


@pytest.mark.parametrize(
    ("quantity", "first", "last"), [(Quantity.PH, 7.2, 6.0), (Quantity.TEMPERATURE, 24.0, 27.0)]
)
def test_a1_is_led_from_7_2_to_6_and_from_24_to_27(
    fortnight: tuple[SimRoom, Heard], quantity: Quantity, first: float, last: float
) -> None:
    values = [value for _, value in fortnight[1]["A1", quantity]]
    assert mean(values[:900]) == pytest.approx(first, abs=0.1)
    assert mean(values[-900:]) == pytest.approx(last, abs=0.1)


@pytest.mark.parametrize(("quantity", "within"), [(Quantity.PH, 0.1), (Quantity.TEMPERATURE, 0.25)])
def test_a1_follows_its_plan_day_by_day(
    fortnight: tuple[SimRoom, Heard], quantity: Quantity, within: float
) -> None:
    room, heard = fortnight
    plan = room.plans["A1", quantity]
    assert all(b - a == DAY_MS for (a, _), (b, _) in pairwise(plan[1:]))
    for begun_ms, meant in plan[1:-1]:
        until_ms = begun_ms + 18 * HOUR_MS
        since = [value for at, value in heard["A1", quantity] if begun_ms <= at < until_ms]
        assert mean(since) == pytest.approx(meant, abs=within)


def test_conditioning_never_moves_ph_faster_than_adults_bear(
    fortnight: tuple[SimRoom, Heard],
) -> None:
    # trade notes, section 3: adults 0.3-0.5 pH a day is common practice
    values = [value for _, value in fortnight[1]["A1", Quantity.PH]]
    for start in range(0, len(values) - 1440, 60):
        day = values[start : start + 1440]
        assert max(day) - min(day) < 0.4


def test_ph_is_higher_when_the_lamps_have_burned(fortnight: tuple[SimRoom, Heard]) -> None:
    values = [(at % DAY_MS // HOUR_MS, value) for at, value in fortnight[1]["B2", Quantity.PH]]
    evening = mean(value for hour, value in values if 15 <= hour < 18)  # UTC; lamps 7 to 18
    dawn = mean(value for hour, value in values if 4 <= hour < 7)
    assert 0.03 < evening - dawn < 0.3


def test_every_tank_but_a1_has_its_water_changed_weekly_and_logged(
    fortnight: tuple[SimRoom, Heard],
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
