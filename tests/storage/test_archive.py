"""Archives: what was written out comes back the same, and a bad row is named, not fatal."""

import io
from pathlib import Path

import pytest
from tests.storage.builders import NOON, probe, said

from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag
from roewatch.room.tank import Calibration, Probe
from roewatch.storage.archive import Imported, Refusal, export_csv, import_csv
from roewatch.storage.kept import Kept
from roewatch.storage.parquet import export_parquet, import_parquet
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.trouble import StoreError

EVER = 2**42
PROBES = (
    probe(calibrations=(Calibration(at_ms=NOON, slope=1.0, offset=0.25),)),
    probe("a1-ph", quantity=Quantity.PH),
)


def _fill(store: Store) -> None:
    readings = [said(24 + s % 7 / 16, s=s, flag=Flag(1 + s % 4)) for s in range(200)]
    store.keep(Kept(readings=[*readings, said(1 / 3, s=0.25, probe="a1-ph")]))
    store.pack_some(NOON + DAY_MS, budget=1)


def _import(
    store: Store, text: str, probes: tuple[Probe, ...] = PROBES
) -> tuple[Imported, list[Refusal]]:
    refusals: list[Refusal] = []
    found = import_csv(store, probes, io.StringIO(text), refused=refusals.append)
    assert found.refused == len(refusals)
    return found, refusals


def test_csv_written_out_and_brought_in_again_is_the_same_store(
    store: Store, records: Records, tmp_path: Path
) -> None:
    _fill(store)
    out = io.StringIO()
    assert export_csv(records, PROBES, out, from_ms=0, to_ms=EVER) == 201
    other = Store.open(tmp_path / "other.db")
    found, refusals = _import(other, out.getvalue())
    assert (found.rows, found.new, refusals) == (201, 201, [])
    assert list(other.kept_after({})) == list(store.kept_after({}))
    other.close()
    copy = Records(tmp_path / "other.db")
    assert copy.series(PROBES[0], 0, EVER) == records.series(PROBES[0], 0, EVER)
    copy.close()
    assert _import(store, out.getvalue())[0] == Imported(rows=201, new=0, known=201, refused=0)


def test_a_line_of_csv_says_when_where_what_raw_calibrated_and_how_good(
    store: Store, records: Records
) -> None:
    store.keep(Kept(readings=[said(24.0, s=0.5)]))
    out = io.StringIO()
    export_csv(records, PROBES, out, from_ms=0, to_ms=EVER)
    assert out.getvalue().splitlines() == [
        "time,tank,quantity,probe,raw,value,flag",
        "2026-01-01T12:00:00.500Z,A1,temperature,a1-temp,24.0,24.25,1",
    ]


def test_a_log_from_elsewhere_needs_only_time_tank_quantity_and_value(
    store: Store, records: Records
) -> None:
    found, _ = _import(
        store,
        "note,time,tank,quantity,value\n"
        "x,2026-01-01T13:00:00+01:00,A1,temperature,24.25\n"
        "x,2025-01-01T00:00:00Z,A1,temperature,24.25\n",
    )
    assert found.new == 2
    series = records.series(PROBES[0], 0, EVER)
    assert list(series.value) == [24.25, 24.25]  # as its owner knew it, whatever the calibration
    assert series.at_ms[1] == NOON
    assert list(series.flag) == [Flag.NOT_EVALUATED] * 2


def test_rows_that_cannot_be_kept_are_told_with_line_and_reason_and_the_rest_is_kept(
    store: Store,
) -> None:
    found, refusals = _import(
        store,
        "time,tank,quantity,value,flag\n"
        "2026-01-01T12:00:00Z,A1,temperature,24.0,1\n"
        "yesterday,A1,temperature,24.0,1\n"
        "2026-01-01T12:00:00,A1,temperature,24.0,1\n"
        "2026-01-01T12:00:01Z,Z9,temperature,24.0,1\n"
        "2026-01-01T12:00:02Z,A1,temperature,warm,1\n"
        "2026-01-01T12:00:03Z,A1,temperature,nan,1\n"
        "2026-01-01T12:00:04Z,A1,temperature,,1\n"
        "1960-01-01T12:00:04Z,A1,temperature,24,1\n"
        "2026-01-01T12:00:05Z,A1,temperature,24.0,7\n"
        "2026-01-01T12:00:06Z\n"
        "2026-01-01T12:00:07Z,A1,temperature,24.0,\n",
    )
    assert (found.rows, found.new, found.refused) == (11, 2, 9)
    assert [refusal.line for refusal in refusals] == list(range(3, 12))
    for refusal, word in zip(
        refusals,
        (
            "isoformat",
            "time zone",
            "'Z9'",
            "'warm'",
            "finite",
            "no number",
            "1970",
            "7",
            "no probe",
        ),
        strict=True,
    ):
        assert word in refusal.why


def test_a_file_without_a_useful_header_is_refused_whole(store: Store) -> None:
    with pytest.raises(ValueError, match="header needs time"):
        _import(store, "2026-01-01T12:00:00Z,24.0\n")
    with pytest.raises(ValueError, match="header needs time"):
        _import(store, "")


def test_parquet_written_out_and_brought_in_again_is_the_same_store(
    store: Store, records: Records, tmp_path: Path
) -> None:
    _fill(store)
    file = tmp_path / "room.parquet"
    assert export_parquet(records, PROBES, file, from_ms=0, to_ms=EVER) == 201
    other = Store.open(tmp_path / "other.db")
    refusals: list[Refusal] = []
    found = import_parquet(other, PROBES, file, refused=refusals.append)
    assert (found, refusals) == (Imported(rows=201, new=201, known=0, refused=0), [])
    assert list(other.kept_after({})) == list(store.kept_after({}))
    found = import_parquet(other, PROBES[1:], file, refused=refusals.append)
    assert (found.refused, found.known) == (200, 1)
    assert "no probe 'a1-temp'" in refusals[0].why
    other.close()


def test_a_file_that_is_not_parquet_is_said_to_be_none(store: Store, tmp_path: Path) -> None:
    (tmp_path / "room.parquet").write_text("time,value")
    with pytest.raises(StoreError, match="not a Parquet file"):
        import_parquet(store, PROBES, tmp_path / "room.parquet", refused=print)
