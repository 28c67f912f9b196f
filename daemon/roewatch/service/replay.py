"""Replay: judge recorded readings at full speed, and tell what the alarms would have been."""

import csv
import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from operator import itemgetter
from pathlib import Path

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.judging.limits import Limits
from roewatch.room.fault import Fault, SettingsError
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import SECOND_MS, at_ms_of_iso
from roewatch.room.reading import Reading
from roewatch.room.stage import Stage
from roewatch.room.tank import Room
from roewatch.service.derived import Deriver
from roewatch.service.journal_file import COLUMNS
from roewatch.service.stages import Stages
from roewatch.storage.archive import uncalibrated
from roewatch.water.derived import WaterFacts

READING_COLUMNS = ("time", "tank", "quantity", "value")
MORE_COLUMNS = ("probe", "raw")  # an export has them; they tell two probes of one tank apart
PROGRESS_EVERY = 20_000
AGE_EVERY_MS = 5 * SECOND_MS


@dataclass(slots=True)
class Recorded:
    """Readings from a file, in order of time, and what of the file could not be used."""

    readings: list[Reading]
    refused: Counter[str] = field(default_factory=Counter)
    example: dict[str, str] = field(default_factory=dict)

    def refuse(self, why: str, where: str) -> None:
        """Count one unusable row; the first of each reason is kept as the example."""
        self.refused[why] += 1
        self.example.setdefault(why, where)


def read_readings(
    path: Path, room: Room, *, from_ms: int | None = None, to_ms: int | None = None
) -> Recorded:
    """The readings of a CSV `time,tank,quantity,value` or a Parquet file of those columns.

    `value` is what the calibration in force at that time made of the raw number; where a column
    `raw` has that number it is taken, and where a column `probe` names the probe, that one.
    Rows may be in any order and may repeat. Unusable rows are counted by reason, not fatal.
    Raises SettingsError if the file lacks the columns.
    """
    rows = (
        _parquet_rows(path)
        if path.suffix == ".parquet"
        else _csv_rows(path, READING_COLUMNS, MORE_COLUMNS)
    )
    by_id = {probe.id: probe for probe in room.probes}
    by_tank = {(probe.tank, probe.quantity.value): probe for probe in reversed(room.probes)}
    recorded = Recorded([])
    for number, (time, tank, quantity, value, named, raw) in rows:
        probe = by_id.get(named) if named else by_tank.get((tank, quantity))
        if probe is None:
            what = f"no probe {named!r}" if named else f"no probe for {quantity!r} on tank {tank!r}"
            recorded.refuse(what, f"row {number}")
            continue
        try:
            at_ms, number_read = at_ms_of_iso(time), float(raw or value)
        except ValueError:
            shown = raw or value
            recorded.refuse("time or value cannot be read", f"row {number}: {time!r}, {shown!r}")
            continue
        if not math.isfinite(number_read):
            recorded.refuse("value is no number", f"row {number}: {raw or value!r}")
            continue
        if (from_ms is None or at_ms >= from_ms) and (to_ms is None or at_ms < to_ms):
            as_sent = number_read if raw else uncalibrated(probe, number_read, at_ms)
            recorded.readings.append(Reading(probe.id, at_ms, as_sent))
    recorded.readings.sort(key=itemgetter(1, 0))  # by time, then by probe
    return recorded


def read_journal(path: Path, room: Room) -> list[JournalEntry]:
    """The keeper's journal from a CSV `time,tank,event,until,detail`, in order of time.

    Raises SettingsError naming every row that cannot be understood: a deed misread would
    explain away a real alarm.
    """
    faults: list[Fault] = []
    entries: list[JournalEntry] = []
    known = {tank.id for tank in room.tanks} | {"", "room"}
    for number, (time, tank, event, until, detail) in _csv_rows(path, COLUMNS):
        where = f"{path.name}:{number}"
        if tank not in known:
            faults.append(Fault(where=where, what=f"no tank {tank!r}", fix="Use a tank's id"))
            continue
        try:
            deed = Deed(event)
            entries.append(
                JournalEntry(
                    at_ms=at_ms_of_iso(time),
                    tank=tank,
                    deed=deed,
                    until_ms=at_ms_of_iso(until) if until.strip() else None,
                    detail=Stage(detail.strip().lower()) if deed is Deed.STAGE else detail,
                )
            )
        except ValueError as unreadable:
            faults.append(
                Fault(
                    where=where,
                    what=str(unreadable),
                    fix=f"Write an ISO 8601 time, one of {', '.join(Deed)}, and after stage one of "
                    f"{', '.join(Stage)}",
                )
            )
    if faults:
        raise SettingsError(faults)
    return sorted(entries, key=lambda entry: entry.at_ms)


def replay(  # noqa: PLR0913  # what a recorded room brings, by name
    room: Room,
    readings: Sequence[Reading],
    journal: Sequence[JournalEntry] = (),
    *,
    limits: Limits | None = None,
    facts: Mapping[str, WaterFacts] | None = None,
    stages: Stages | None = None,
    learn_ms: int = 0,
    progress: Callable[[int], None] = lambda _: None,
) -> Iterator[AlarmChange]:
    """Alarm changes in order of event time. During the first `learn_ms` the judge only learns.

    facts: by tank, for what is worked out from readings; as the settings have them.
    stages: moves tanks by the journal's word, as the daemon does; None leaves them where they are.
    progress: called with the number of readings judged, now and then.
    """
    if not readings:
        return
    judge = Judge(room, limits or Limits(), start_ms=readings[0].at_ms)
    derived = Deriver(room, facts, settle_ms=judge.limits.settle_ms)
    book = AlarmBook(room)
    silent_until_ms = readings[0].at_ms + learn_ms

    def booked(findings: Iterable[Finding]) -> Iterator[AlarmChange]:
        for finding in findings:
            if finding.at_ms >= silent_until_ms:
                yield from book.take(finding)

    age_ms = readings[0].at_ms
    for count, item in enumerate(in_order(readings, journal), start=1):
        if item.at_ms >= age_ms:
            # as the daemon's rounds do: what a suppressing alarm held back is released in time
            yield from book.advance(age_ms)
            age_ms = item.at_ms - item.at_ms % AGE_EVERY_MS + AGE_EVERY_MS
        if isinstance(item, Reading):
            findings: Sequence[Finding] = _taken(judge, derived, item)
        else:
            findings = [*judge.enter(item), *_moved(judge, book, stages, item)]
        if findings:
            yield from booked(findings)
        if count % PROGRESS_EVERY == 0:
            progress(count)
    yield from booked(judge.advance(readings[-1].at_ms))
    yield from book.advance(readings[-1].at_ms)
    progress(len(readings) + len(journal))


def in_order(
    readings: Sequence[Reading], journal: Sequence[JournalEntry]
) -> Iterator[Reading | JournalEntry]:
    """Both by time; the journal first, so that a deed comes before its echo in the water."""
    coming, begin = iter(readings), 0
    for entry in journal:
        end = bisect_left(readings, entry.at_ms, lo=begin, key=lambda reading: reading.at_ms)
        yield from islice(coming, end - begin)
        yield entry
        begin = end
    yield from coming


def _moved(
    judge: Judge, book: AlarmBook, stages: Stages | None, entry: JournalEntry
) -> Sequence[Finding]:
    """What the judge finds when a tank goes to another stage, and so to other windows."""
    if stages is None or entry.deed is not Deed.STAGE:
        return ()
    stages.enter(entry)
    found = judge.reconfigure(stages.room)
    book.reconfigure(stages.room)
    return found


def _taken(judge: Judge, derived: Deriver, reading: Reading) -> Sequence[Finding]:
    """What the judge finds at a reading, and at those that are worked out before it."""
    found: list[Finding] = []
    if reading.at_ms >= derived.wake_ms:
        for due in derived.due(reading.at_ms):
            judged = judge.take(due)
            derived.hear(judged.flagged, judged.revised)
            found += judged.findings
    judged = judge.take(reading)
    derived.hear(judged.flagged, judged.revised)
    return (*found, *judged.findings) if found else judged.findings


def _csv_rows(
    path: Path, columns: Sequence[str], more: Sequence[str] = ()
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Line number and cells of each row, in the order of `columns` and `more`, which may lack."""
    with path.open(newline="", encoding="utf-8-sig") as file:
        table = csv.reader(file)
        header = [name.strip().lower() for name in next(table, [])]
        at = _columns_at(path, header, columns)
        at += [header.index(name) if name in header else -1 for name in more]
        cells, wide = itemgetter(*at), max(at) + 1
        for row in table:
            if row:
                # a short row is a row with empty cells; what needs them refuses it by name
                row.extend([""] * (wide - len(row)))
                row.append("")  # what -1 finds, for a column that is not there
                yield table.line_num, cells(row)


def _parquet_rows(path: Path) -> Iterator[tuple[int, tuple[str, ...]]]:
    import pyarrow.parquet as pq  # noqa: PLC0415  # heavy, and only an extra

    file = pq.ParquetFile(path)
    header = [name.lower() for name in file.schema_arrow.names]
    at = _columns_at(path, header, READING_COLUMNS)
    at += [header.index(name) for name in MORE_COLUMNS if name in header]
    names = [file.schema_arrow.names[i] for i in at]
    here = [*READING_COLUMNS, *(name for name in MORE_COLUMNS if name in header)]
    number = 0
    for batch in file.iter_batches(columns=names):
        for row in zip(*(batch.column(name).to_pylist() for name in names), strict=True):
            number += 1
            cells = {
                name: "" if cell is None else cell for name, cell in zip(here, row, strict=True)
            }
            time = cells["time"]
            cells["time"] = time.isoformat() if hasattr(time, "isoformat") else time
            wanted = (*READING_COLUMNS, *MORE_COLUMNS)
            yield number, tuple(str(cells.get(name, "")) for name in wanted)


def _columns_at(path: Path, header: Sequence[str], columns: Sequence[str]) -> list[int]:
    missing = [name for name in columns if name not in header]
    if missing:
        raise SettingsError(
            [
                Fault(
                    where=path.name,
                    what=f"no column {', '.join(missing)} among {', '.join(header) or 'none'}",
                    fix=f"Give it the columns {','.join(columns)}",
                )
            ]
        )
    return [header.index(name) for name in columns]
