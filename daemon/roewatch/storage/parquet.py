"""An archive as Parquet: columns with types, for whoever works on years of readings elsewhere.

pyarrow is an optional extra and heavy to load, so it is only ever loaded inside these calls.
"""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from roewatch.room.tank import Probe
from roewatch.storage.archive import COLUMNS, Bringer, Imported, Progress, Refusal
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.trouble import StoreError

_ROWS = 20_000  # of one batch while bringing in


def _arrow() -> tuple[Any, Any]:
    try:
        import pyarrow  # noqa: PLC0415, loaded only when asked for
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError as error:
        raise StoreError(
            "Parquet needs pyarrow, which is not installed; `pip install roewatch[parquet]`, or "
            "use CSV"
        ) from error
    return pyarrow, parquet


def export_parquet(
    records: Records,
    probes: Iterable[Probe],
    to: Path,
    *,
    from_ms: int,
    to_ms: int,
    progress: Progress | None = None,
) -> int:
    """As `archive.export_csv`, with `time` as milliseconds in UTC. Returns how many readings.

    Raises StoreError without pyarrow.
    """
    arrow, parquet = _arrow()
    word = arrow.dictionary(arrow.int32(), arrow.string())
    types = (arrow.timestamp("ms", "UTC"), word, word, word)
    numbers = (arrow.float64(), arrow.float64(), arrow.int8())
    schema = arrow.schema(list(zip(COLUMNS, (*types, *numbers), strict=True)))
    done = 0
    with parquet.ParquetWriter(to, schema, compression="zstd") as writer:
        for probe in probes:
            words = (probe.tank, probe.quantity.value, probe.id)
            for cells in records.chunks(probe.id, from_ms, to_ms):
                n, raw = len(cells.at_ms), cells.raw()
                once = arrow.array([0] * n, arrow.int32())
                value = list(map(probe.calibrated, raw, cells.at_ms))
                columns = [
                    arrow.array(list(cells.at_ms), arrow.int64()).cast(types[0]),
                    *(arrow.DictionaryArray.from_arrays(once, [name]) for name in words),
                    arrow.array(raw, numbers[0]),
                    arrow.array(value, numbers[1]),
                    arrow.array(list(cells.flag), numbers[2]),
                ]
                writer.write_table(arrow.table(columns, schema=schema))
                done += n
                if progress is not None:
                    progress(done)
    return done


def import_parquet(
    store: Store,
    probes: Sequence[Probe],
    source: Path,
    *,
    refused: Callable[[Refusal], None],
    progress: Progress | None = None,
) -> Imported:
    """As `archive.import_csv`; `time` may be a timestamp with a zone, or ISO 8601 text.

    Raises ValueError when a column that is needed is missing, StoreError without pyarrow or when
    the file is not Parquet.
    """
    arrow, parquet = _arrow()
    try:
        file = parquet.ParquetFile(source)
    except arrow.ArrowInvalid as error:
        raise StoreError(f"{source}: not a Parquet file ({error})") from error
    with file:
        schema = file.schema_arrow
        bringer = Bringer(store, probes, schema.names, refused)
        line = 1
        for batch in file.iter_batches(_ROWS, columns=[n for n in COLUMNS if n in schema.names]):
            for row in _rows(arrow, batch):
                line += 1
                bringer.add(line, row)
            if progress is not None:
                progress(bringer.found.rows)
        return bringer.finish()


def _rows(arrow: Any, batch: Any) -> list[dict[str, object]]:
    """Rows of a batch; a timestamp as whole milliseconds under `at_ms`."""
    time = batch.schema.field("time").type
    if not arrow.types.is_timestamp(time):
        return list(batch.to_pylist())
    if time.tz is None:
        raise ValueError("column time has no time zone; write it in UTC")
    whole = (
        batch.column("time").cast(arrow.timestamp("ms", time.tz), safe=False).cast(arrow.int64())
    )
    names = [*batch.schema.names, "at_ms"]
    return list(arrow.RecordBatch.from_arrays([*batch.columns, whole], names=names).to_pylist())
