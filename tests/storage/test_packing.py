"""Packing: what is read is the same before and after, and a late reading finds its day."""

import sqlite3
import threading
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.storage.builders import NOON, probe, said

from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.reading import Flag, Flagged
from roewatch.room.series import Series
from roewatch.room.tank import Calibration
from roewatch.storage.column import column, numbers_of
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.thinning import believed
from roewatch.storage.trouble import DamagedDayError

MIDNIGHT = NOON - DAY_MS // 2
EVER = 2**42
WHOLE = st.integers(-(2**62), 2**62)


@given(
    st.one_of(
        st.lists(st.integers(-(2**40), 2**40)),
        st.lists(st.floats(allow_nan=False)),
        st.lists(st.sampled_from([1 / 3, 24.500000000000004, -0.5, 1e300]), min_size=20),
        st.builds(lambda first, n, step: list(range(first, first + n * step, step)),
                  st.integers(0, 2**41), st.integers(0, 300), st.integers(1, 5000)),
    )
)  # fmt: skip
def test_a_column_opens_as_it_was_squeezed(numbers: list[int] | list[float]) -> None:
    squeezed = b"before" + column(numbers) + b"after"
    opened, end = numbers_of(squeezed, 6, len(numbers))
    assert list(opened) == numbers
    assert squeezed[end:] == b"after"


def _packed(store: Store, now_ms: int = EVER) -> int:
    done = 0
    while n := store.pack_some(now_ms, budget=3):
        done += n
    return done


def _rows(series: Series) -> list[tuple[int, float, int]]:
    return list(zip(series.at_ms, series.value, series.flag, strict=True))


def test_a_packed_day_reads_as_it_did_before(store: Store, records: Records) -> None:
    day = [said(24 + s % 7 / 16, s=s, flag=Flag(1 + s % 4)) for s in range(0, 4000, 5)]
    store.keep(Kept(readings=day))
    before = _rows(records.series(probe(), 0, EVER))
    assert _packed(store) == 1
    assert records.counts()["hot"] == 0
    assert records.counts()["readings"] == len(day)
    assert _rows(records.series(probe(), 0, EVER)) == before
    assert _rows(records.series(probe(), NOON + 7, NOON + 900_000)) == [
        row for row in before if NOON + 7 <= row[0] < NOON + 900_000
    ]
    assert list(store.kept_after({})) == [r[:3] for r in day]


def test_a_late_reading_is_merged_into_its_day_and_a_repeat_of_a_packed_one_is_none(
    store: Store, records: Records
) -> None:
    store.keep(Kept(readings=[said(24.0, s=s) for s in (0, 10, 20)]))
    _packed(store)
    assert store.keep(Kept(readings=[said(24.0, s=10), said(25.0, s=15), said(9.0, s=20)])) == 1
    assert records.counts()["contradicted"] == 1
    for _ in range(2):
        assert list(records.series(probe(), 0, EVER).value) == [24.0, 24.0, 25.0, 24.0]
        _packed(store)
    assert records.counts()["hot"] == 0


def test_the_running_day_is_packed_but_not_its_last_hours(store: Store, records: Records) -> None:
    hours = [said(20.0 + h, at_ms=MIDNIGHT + h * HOUR_MS) for h in range(14)]
    store.keep(Kept(readings=hours))
    assert _packed(store, NOON + HOUR_MS - 1) == 1  # the part to 06:00; the next may still be late
    assert records.counts()["hot"] == 8
    assert _packed(store, NOON + HOUR_MS) == 1
    assert records.counts()["hot"] == 2
    assert list(records.series(probe(), 0, EVER).value) == [20.0 + h for h in range(14)]


def test_a_flag_of_a_packed_reading_can_still_be_put_right(store: Store, records: Records) -> None:
    store.keep(Kept(readings=[said(24.0, s=s) for s in range(3)]))
    _packed(store)
    store.keep(Kept(revised=[said(0.0, s=1, flag=Flag.BAD), said(0.0, s=99, flag=Flag.BAD)]))
    assert _rows(records.series(probe(), 0, EVER)) == [
        (NOON, 24.0, 1), (NOON + 1000, 24.0, 4), (NOON + 2000, 24.0, 1),
    ]  # fmt: skip


def test_the_latest_reading_is_found_when_all_are_packed(store: Store, records: Records) -> None:
    store.keep(Kept(readings=[said(24.0), said(1 / 3, s=9, flag=Flag.SUSPECT)]))
    _packed(store)
    assert records.latest() == {"a1-temp": said(1 / 3, s=9, flag=Flag.SUSPECT)}
    store.keep(Kept(readings=[said(20.0, s=4)]))  # late: in the hot table, but not the newest
    assert records.latest()["a1-temp"].raw == 1 / 3


def test_a_reader_never_misses_what_is_being_packed(store: Store, path: Path) -> None:
    stop, seen = threading.Event(), list[int]()

    def look() -> None:
        records = Records(path)
        while len(seen) < 3 or not stop.is_set():
            moments = records.series(probe(), 0, EVER).at_ms
            seen.append(len(moments) if list(moments) == sorted(set(moments)) else -1)
        records.close()

    store.keep(Kept(readings=[said(24.0, at_ms=MIDNIGHT + s * 300_000) for s in range(2000)]))
    reader = threading.Thread(target=look)
    reader.start()
    for n in range(2000, 2100):
        store.keep(Kept(readings=[said(24.0, at_ms=MIDNIGHT + n * 300_000)]))
        store.pack_some(MIDNIGHT + (n % 100) * 21 * 300_000)
    stop.set()
    reader.join(60)
    assert seen == sorted(seen)
    assert min(seen) >= 2000


def test_probes_are_packed_in_turn_and_never_past_the_budget(
    store: Store, records: Records
) -> None:
    names = [f"p{i}" for i in range(5)]
    store.keep(Kept(readings=[said(24.0, probe=name) for name in names]))
    assert [store.pack_some(EVER, budget=2) for _ in range(4)] == [2, 2, 1, 0]
    assert records.counts()["packed"] == 5


def _spoil(store: Store, column: str, name: str = "a1-temp") -> None:
    """Turn one bit of that probe's first packed day, as an ageing memory card does."""
    slot, held = store._db.execute(
        f"SELECT slot, {column} FROM packed WHERE slot >> 20 ="
        " (SELECT id FROM probes WHERE name = ?) ORDER BY slot",
        (name,),
    ).fetchone()
    spoilt = held[:-1] + bytes([held[-1] ^ 1])
    store._db.execute(f"UPDATE packed SET {column} = ? WHERE slot = ?", (spoilt, slot))


def _two_days(store: Store, *names: str) -> None:
    for name in names:
        steps = range(MIDNIGHT, MIDNIGHT + 2 * DAY_MS, 10_000)
        store.keep(Kept(readings=[said(24.0, at_ms=at_ms, probe=name) for at_ms in steps]))
    _packed(store)


def test_a_damaged_day_is_named_not_believed(store: Store, records: Records) -> None:
    _two_days(store, "a1-temp")
    _spoil(store, "body")
    with pytest.raises(DamagedDayError, match="checksum"):
        records.series(probe(), 0, EVER)


@pytest.mark.parametrize("column", ["body", "hours", "tens", "minutes"])
@pytest.mark.parametrize("columns", [20, 200, 2000, 20_000])
def test_a_picture_makes_do_with_what_is_left_of_a_damaged_day(
    store: Store, records: Records, column: str, columns: int
) -> None:
    _two_days(store, "a1-temp")
    _spoil(store, column)
    drawn = records.series(probe(), MIDNIGHT, MIDNIGHT + 2 * DAY_MS, columns)
    assert min(drawn.at_ms) < MIDNIGHT + HOUR_MS
    assert set(drawn.value) == {24.0}


def test_looking_round_finds_a_damaged_day_and_makes_room_to_bring_it_in_again(
    store: Store, records: Records
) -> None:
    _two_days(store, "a1-temp", "a1-ph")
    _spoil(store, "minutes")
    _spoil(store, "body", "a1-ph")
    told = [store.check_some(budget=2) for _ in range(6)]
    assert [len(found) for found in told] == [1, 1, 0, 0, 0, 0]
    assert "a roll-up does not match" in told[0][0]  # made again: its readings are sound
    assert records.counts()["damaged"] == 1
    assert records.counts()["readings"] == 3 * 8640
    first_day = range(MIDNIGHT, MIDNIGHT + DAY_MS, 10_000)
    again = [said(24.0, at_ms=at_ms, probe="a1-ph") for at_ms in first_day]
    assert store.keep(Kept(readings=again)) == 8640
    _packed(store)
    assert len(records.series(probe("a1-ph"), 0, EVER).at_ms) == 2 * 8640


def test_a_damaged_day_never_holds_up_new_late_or_old_readings(
    store: Store, records: Records
) -> None:
    _two_days(store, "a1-temp", "a1-ph", "b1-temp")
    for name in ("a1-temp", "a1-ph", "b1-temp"):
        _spoil(store, "body", name)
    assert store.keep(Kept(readings=[said(25.0, at_ms=MIDNIGHT + 5)])) == 1
    store._db.execute(
        "INSERT INTO hot SELECT id, ?, 1, 1 FROM probes WHERE name = 'a1-ph'", (MIDNIGHT + 5,)
    )
    store._hot.forget()
    assert _packed(store) == 2
    assert len(list(store.kept_after({}))) == 3 * 8640 + 2
    assert records.counts()["damaged"] == 3


_DAYS = 3
_SOME = st.builds(
    lambda name, at, raw, flag: Flagged(name, MIDNIGHT + at * 600_000, raw, raw, Flag(flag)),
    st.sampled_from(["a1-temp", "a1-ph"]),
    st.integers(0, _DAYS * 144 - 1),
    st.sampled_from([24.0, 24.0625, 1 / 3, -127.0]),
    st.sampled_from([1, 2, 4]),
)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.lists(_SOME, max_size=20), st.integers(0, _DAYS * 24)), max_size=6))
def test_packing_at_any_moment_never_changes_what_is_read(
    work: list[tuple[list[Flagged], int]],
) -> None:
    with TemporaryDirectory() as folder:
        never, often = Store.open(Path(folder) / "never.db"), Store.open(Path(folder) / "often.db")
        for batch, hours in work:
            assert never.keep(Kept(readings=batch)) == often.keep(Kept(readings=batch))
            _packed(often, MIDNIGHT + hours * HOUR_MS)
        assert list(never.kept_after({})) == list(often.kept_after({}))
        assert list(never.kept_after({"a1-ph": NOON})) == list(often.kept_after({"a1-ph": NOON}))
        for name in ("never", "often"):
            records = Records(Path(folder) / f"{name}.db")
            rows = _rows(records.series(probe(), 0, EVER))
            latest = records.latest()
            records.close()
            if name == "never":
                expected = (rows, latest)
            else:
                assert (rows, latest) == expected
        never.close()
        often.close()


def _drawn(
    readings: Sequence[Flagged], columns: int, calibrations: tuple[Calibration, ...] = ()
) -> tuple[Series, Series]:
    """The whole series and the picture of it, both from a store that packed what it could."""
    with TemporaryDirectory() as folder:
        store = Store.open(Path(folder) / "room.db")
        store.keep(Kept(readings=readings))
        _packed(store, readings[-1].at_ms)
        store.close()
        records = Records(Path(folder) / "room.db")
        span = (readings[0].at_ms, readings[-1].at_ms + 1)
        meant = probe(calibrations=calibrations)
        both = records.series(meant, *span), records.series(meant, *span, columns)
        records.close()
    return both


def _months(days: int, *, every_s: int) -> list[Flagged]:
    """Days of readings with a daily swing, a spike and an error code here and there."""
    readings = []
    for i in range(days * 86_400 // every_s):
        raw, flag = 24 + (i * every_s % 86_400) / 86_400 + (i * 7919 % 16) / 16, Flag.GOOD
        if i % 5003 == 77:
            raw = 29.5
        if i % 7001 == 33:
            raw, flag = 85.0, Flag.BAD
        readings.append(said(raw, at_ms=MIDNIGHT + i * every_s * 1000, flag=flag))
    return readings


@pytest.mark.parametrize(
    ("days", "every_s", "columns"), [(3, 20, 300), (9, 60, 100), (40, 120, 50), (2, 3600, 10)]
)
def test_a_picture_has_every_peak_of_its_span_and_no_more_points_than_asked(
    days: int, every_s: int, columns: int
) -> None:
    whole, drawn = _drawn(_months(days, every_s=every_s), columns)
    assert len(drawn.at_ms) <= 8 * columns
    assert list(drawn.at_ms) == sorted(drawn.at_ms)
    for good in (True, False):
        was = [v for v, f in zip(whole.value, whole.flag, strict=True) if believed(f) == good]
        seen = [v for v, f in zip(drawn.value, drawn.flag, strict=True) if believed(f) == good]
        if was:
            assert (min(seen), max(seen)) == (min(was), max(was))
    assert drawn.value[-1] == whole.value[-1]


def test_each_column_of_a_rolled_up_picture_is_within_a_bucket_of_the_truth() -> None:
    whole, drawn = _drawn(_months(40, every_s=120), 50)
    width = (whole.to_ms - whole.from_ms) / 50
    for n in range(50):
        start, end = whole.from_ms + n * width, whole.from_ms + (n + 1) * width
        wide = [v for at, v, f in _rows(whole)
                if start - HOUR_MS <= at < end + HOUR_MS and believed(f)]  # fmt: skip
        core = [v for at, v, f in _rows(whole)
                if start + HOUR_MS <= at < end - HOUR_MS and believed(f)]  # fmt: skip
        seen = [v for at, v, f in _rows(drawn) if start <= at < end and believed(f)]
        assert min(wide) <= min(seen) <= min(core)
        assert max(core) <= max(seen) <= max(wide)


def test_a_calibration_inside_a_picture_counts_from_its_date() -> None:
    readings = [said(7.0, at_ms=MIDNIGHT + i * 60_000) for i in range(5 * 1440)]
    noon = Calibration(at_ms=NOON + DAY_MS, slope=-1.0, offset=13.5)
    _, drawn = _drawn(readings, 100, (noon,))
    assert {v for at, v, _ in _rows(drawn) if at < NOON + DAY_MS} == {7.0}
    assert {v for at, v, _ in _rows(drawn) if at >= NOON + DAY_MS} == {6.5}


@pytest.mark.parametrize("huge", [1.09e8, 9e11, 1e300, 1.7e308])
def test_a_probe_gone_wild_is_packed_like_any_other(
    store: Store, records: Records, huge: float
) -> None:
    wild = [said(huge * (-1) ** s, s=s) for s in range(10_000)]
    store.keep(Kept(readings=wild))
    _packed(store)
    assert list(records.series(probe(), 0, EVER).value) == [reading.raw for reading in wild]
    drawn = records.series(probe(), NOON - 20 * DAY_MS, NOON + 20 * DAY_MS, 100)
    assert {min(drawn.value), max(drawn.value)} == {-huge, huge}


def test_a_thermometer_in_fahrenheit_packs_as_small(store: Store, records: Records) -> None:
    day = [
        said(((75 + (i * 104_729 % 97) / 8) - 32) * 5 / 9, at_ms=MIDNIGHT + i * 5000)
        for i in range(17_280)
    ]
    store.keep(Kept(readings=day))
    _packed(store)
    readings, size = records.packed()
    assert size / readings < 1.5
    assert list(records.series(probe(), 0, EVER).value) == [reading.raw for reading in day]


def test_a_jittered_thermometer_takes_at_most_a_byte_and_a_half_a_reading(
    store: Store, path: Path
) -> None:
    jitter = [(i * 7919) % 200 for i in range(17_280)]
    day = [
        said(24 + (i // 400 % 2 + (i * 104_729) % 97 // 80) / 16, at_ms=MIDNIGHT + i * 5000 + j)
        for i, j in enumerate(jitter)
    ]
    store.keep(Kept(readings=day))
    _packed(store)
    db = sqlite3.connect(path)
    (size,) = db.execute(
        "SELECT sum(length(body) + length(hours) + length(tens) + length(minutes)) FROM packed"
    ).fetchone()
    db.close()
    assert size / len(day) <= 1.5
