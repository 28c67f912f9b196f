"""Readings: kept once, whatever order and however often they come."""

import math
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.storage.builders import NOON, probe, said

from roewatch.room.moment import DAY_MS
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.tank import Calibration
from roewatch.storage.cell import cell_of, raw_of
from roewatch.storage.kept import Kept
from roewatch.storage.manifest import Manifest
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.trouble import DamagedStoreError

EVER = 2**42


def test_a_repeat_changes_nothing_and_is_not_new(store: Store, records: Records) -> None:
    batch = [said(24.5, s=0), said(24.25, s=5)]
    assert store.keep(Kept(readings=batch)) == 2
    assert store.keep(Kept(readings=batch)) == 0
    assert records.counts()["hot"] == 2
    assert "contradicted" not in records.counts()


def test_of_two_numbers_for_one_moment_the_first_wins_and_it_is_counted(
    store: Store, records: Records
) -> None:
    store.keep(Kept(readings=[said(24.5), said(19.0)]))
    store.keep(Kept(readings=[said(30.0), said(24.5)]))
    assert list(records.series(probe(), 0, EVER).value) == [24.5]
    assert records.counts()["contradicted"] == 2


def test_a_flag_put_right_afterwards_leaves_the_number_alone(
    store: Store, records: Records
) -> None:
    store.keep(Kept(readings=[said(24.5)]))
    store.keep(Kept(revised=[said(99.0, flag=Flag.SUSPECT)]))
    series = records.series(probe(), 0, EVER)
    assert (list(series.value), list(series.flag)) == ([24.5], [Flag.SUSPECT])


def test_the_raw_number_is_stored_and_calibration_is_applied_by_its_date(
    store: Store, records: Records
) -> None:
    store.keep(Kept(readings=[said(7.0, s=0), said(7.0, s=10)]))
    later = Calibration(at_ms=NOON + 5000, slope=2.0, offset=-7.5)
    calibrated = probe(calibrations=(later,))
    assert list(records.series(calibrated, 0, EVER).value) == [7.0, 6.5]
    assert records.latest([calibrated])["a1-temp"].value == 6.5
    assert records.latest()["a1-temp"].raw == 7.0


def test_the_latest_reading_is_the_newest_by_event_time(store: Store, records: Records) -> None:
    store.keep(Kept(readings=[said(24.0, s=60), said(20.0, s=0), said(5.5, s=1, probe="a1-ph")]))
    latest = records.latest()
    assert {name: at.raw for name, at in latest.items()} == {"a1-temp": 24.0, "a1-ph": 5.5}


def test_a_series_holds_its_start_and_not_its_end(store: Store, records: Records) -> None:
    store.keep(Kept(readings=[said(20.0 + s, s=s) for s in range(4)]))
    assert list(records.series(probe(), NOON + 1000, NOON + 3000).value) == [21.0, 22.0]


def test_a_probe_that_never_spoke_has_an_empty_series(records: Records) -> None:
    assert list(records.series(probe("b6-flow"), 0, EVER).at_ms) == []


@pytest.mark.parametrize("raw", [math.nan, math.inf, -math.inf])
def test_a_number_no_probe_can_mean_is_refused_and_the_batch_with_it(
    store: Store, records: Records, raw: float
) -> None:
    with pytest.raises(ValueError, match="finite"):
        store.keep(Kept(readings=[said(24.0), said(raw, s=1)]))
    assert records.counts()["hot"] == 0


def test_a_refused_batch_leaves_no_probe_behind_that_a_later_one_would_trip_over(
    store: Store, records: Records
) -> None:
    with pytest.raises(ValueError, match="moment -1"):
        store.keep(Kept(readings=[said(24.0, probe="new"), said(1.0, probe="odd", at_ms=-1)]))
    assert store.keep(Kept(readings=[said(24.0, probe="new")])) == 1
    assert list(records.latest()) == ["new"]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_comes_back_as_it_was(raw: float) -> None:
    assert raw_of(cell_of(raw)) == raw


@given(st.decimals(-500, 5000, places=4))
def test_a_probes_decimals_are_held_as_whole_numbers(decimal: object) -> None:
    assert isinstance(cell_of(float(str(decimal))), int)


_READING = st.builds(
    lambda name, at, raw: Flagged(name, NOON + at, raw, raw, Flag.GOOD),
    st.sampled_from(["a1-temp", "a1-ph", "b2-temp"]),
    st.integers(0, 30),
    st.sampled_from([24.0, 24.0625, 1 / 3]),
)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(_READING, max_size=8), max_size=8), st.randoms())
def test_any_batches_in_any_order_with_repeats_keep_the_same_moments(
    batches: list[list[Flagged]], random: "object"
) -> None:
    said_once = {(r.probe, r.at_ms): r.raw for batch in reversed(batches) for r in reversed(batch)}
    in_order = sorted((at, name, raw) for (name, at), raw in said_once.items())
    assert _kept([*batches, *batches]) == [Reading(name, at, raw) for at, name, raw in in_order]
    shuffled = list(batches)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert [r[:2] for r in _kept(shuffled)] == [(name, at) for at, name, _ in in_order]


def _kept(batches: Sequence[Sequence[Flagged]]) -> list[Reading]:
    with TemporaryDirectory() as folder:
        store = Store.open(Path(folder) / "room.db")
        for batch in batches:
            store.keep(Kept(readings=batch))
        found = list(store.kept_after({}))
        store.close()
    return found


def test_after_a_crash_only_readings_past_the_positions_come_again_in_order_of_time(
    store: Store,
) -> None:
    store.keep(Kept(readings=[said(24.0 + s, s=s) for s in range(3)]))
    store.keep(Kept(readings=[said(5.0, s=s, probe="a1-ph") for s in (0, 2)]))
    again = store.kept_after({"a1-temp": NOON})
    assert [(r.probe, (r.at_ms - NOON) // 1000) for r in again] == [
        ("a1-ph", 0), ("a1-temp", 1), ("a1-ph", 2), ("a1-temp", 2),
    ]  # fmt: skip


def test_the_store_may_keep_while_old_readings_are_read_again(store: Store) -> None:
    store.keep(Kept(readings=[said(24.0, s=s) for s in range(40)]))
    for reading in store.kept_after({}):
        store.keep(Kept(states={"judging": str(reading.at_ms)}))
    assert store.states() == {"judging": str(NOON + 39_000)}


def test_a_damaged_page_is_told_as_a_damaged_store_by_every_reader(
    store: Store, records: Records
) -> None:
    store.keep(Kept(readings=[said(24.0, s=n) for n in range(20_000)]))
    store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with store.path.open("r+b") as file:
        size = file.seek(0, 2)
        for page in range(4096 * 20, size, 4096):  # the first pages tell what tables there are
            file.seek(page)
            file.write(b"\xff" * 4096)
    with pytest.raises(DamagedStoreError):
        records.series(probe(), 0, EVER)
    with pytest.raises(DamagedStoreError):
        list(records.chunks(probe().id, 0, EVER))
    with pytest.raises(DamagedStoreError):
        records.counts()
    with pytest.raises(DamagedStoreError):
        Manifest(records).day_counts(NOON // DAY_MS)
