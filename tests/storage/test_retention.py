"""Retention: old readings go when the keeper says so, their picture stays; what a year takes."""

import pytest
from tests.storage.builders import NOON, probe, said

from roewatch.room.moment import DAY_MS
from roewatch.room.reading import Flag
from roewatch.storage.forecast import forecast
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store

MIDNIGHT = NOON - DAY_MS // 2
EVER = 2**42


def _days(store: Store, days: int, *, every_s: int = 10, name: str = "a1-temp") -> None:
    step = every_s * 1000
    readings = [
        said(24 + i % 16 / 16, at_ms=at, probe=name)
        for i, at in enumerate(range(MIDNIGHT, MIDNIGHT + days * DAY_MS, step))
    ]
    store.keep(Kept(readings=readings))
    while store.pack_some(EVER, budget=9):
        pass


def test_days_before_the_moment_go_and_later_ones_and_other_probes_stay(
    store: Store, records: Records
) -> None:
    _days(store, 3)
    _days(store, 1, name="b1-temp")
    last = MIDNIGHT + 2 * DAY_MS + 5  # in the third day, which has therefore not ended
    assert store.let_go({"a1-temp": last, "never-spoke": EVER}) == 2
    assert store.let_go({"a1-temp": last}) == 0
    assert min(records.series(probe(), 0, EVER).at_ms) == MIDNIGHT + 2 * DAY_MS
    assert len(records.series(probe("b1-temp"), 0, EVER).at_ms) == 8640
    assert records.counts()["readings"] == 2 * 8640


def test_letting_go_keeps_to_its_budget(store: Store) -> None:
    _days(store, 3)
    assert [store.let_go({"a1-temp": EVER}, budget=2) for _ in range(3)] == [2, 1, 0]


@pytest.mark.parametrize("columns", [20, 400, 5000])
def test_the_picture_of_days_that_were_let_go_comes_from_what_is_left(
    store: Store, records: Records, columns: int
) -> None:
    _days(store, 2)
    store.let_go({"a1-temp": EVER})
    drawn = records.series(probe(), MIDNIGHT, MIDNIGHT + 2 * DAY_MS, columns)
    assert (min(drawn.value), max(drawn.value)) == (24.0, 24 + 15 / 16)
    assert drawn.at_ms[0] < MIDNIGHT + DAY_MS // 20
    assert drawn.at_ms[-1] > MIDNIGHT + 2 * DAY_MS - DAY_MS // 20


def test_a_reading_for_a_day_that_was_let_go_is_too_late_and_counted(
    store: Store, records: Records
) -> None:
    _days(store, 1)
    _days(store, 1, name="b1-temp")
    store.keep(Kept(readings=[said(9.0, at_ms=MIDNIGHT + 7, probe="b1-temp")]))  # not packed yet
    store.let_go({"a1-temp": EVER, "b1-temp": EVER})
    assert store.keep(Kept(readings=[said(9.0, at_ms=MIDNIGHT + 7)])) == 0
    while store.pack_some(EVER):
        pass
    counts = records.counts()
    assert (counts["past-retention"], counts["hot"]) == (2, 0)
    assert max(records.series(probe("b1-temp"), 0, EVER, 10).value) == 24 + 15 / 16


def test_a_day_too_thin_for_a_roll_up_keeps_its_readings(store: Store, records: Records) -> None:
    _days(store, 1, every_s=3600)
    assert store.let_go({"a1-temp": EVER}) == 0
    assert len(records.series(probe(), 0, EVER).at_ms) == 24


def test_roll_ups_shed_for_room_can_be_made_again_and_the_picture_is_right_throughout(
    store: Store, records: Records
) -> None:
    _days(store, 3)
    span = (MIDNIGHT, MIDNIGHT + 3 * DAY_MS, 200)
    before = records.series(probe(), *span)
    _, size = records.packed()
    assert store.shed(budget=2) == 2
    assert store.shed() == 1
    assert records.packed()[1] < size
    without = records.series(probe(), *span)
    assert (min(without.value), max(without.value)) == (min(before.value), max(before.value))
    assert [store.rebuild(budget=2) for _ in range(3)] == [2, 1, 0]
    assert records.series(probe(), *span) == before


def test_making_roll_ups_again_comes_to_an_end_also_where_none_is_worth_it(store: Store) -> None:
    readings = [
        said(24.0, at_ms=MIDNIGHT + i * 14_000, flag=Flag(1 + 3 * (i % 2))) for i in range(6171)
    ]  # every other one doubted: twice the buckets, so no minute roll-up is made
    store.keep(Kept(readings=readings))
    store.pack_some(EVER)
    assert [store.rebuild() for _ in range(3)] == [1, 0, 0]


def test_a_year_is_forecast_from_the_settings_until_enough_is_packed_to_measure() -> None:
    probes = [probe(f"p{i}") for i in range(80)]  # each every 5 s
    early = forecast(probes, packed=(500, 3000))
    assert early.readings_a_year == 80 * 365 * 17_280
    assert early.bytes_a_year == round(80 * 365 * 17_280 * 1.5)
    assert "0.8 GB a year (1.5 bytes a reading, assumed" in early.text()
    late = forecast(probes[:1], packed=(1_000_000, 1_100_000))
    assert late.text() == "at this rate 7 MB a year (1.1 bytes a reading, measured)"
