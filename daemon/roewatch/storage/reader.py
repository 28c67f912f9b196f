"""Records: what was kept, read beside the writer by any thread and without holding it up."""

import sqlite3
import threading
import weakref
from collections.abc import Iterable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.notice import Notice, Outcome, Receipt
from roewatch.breeding.plan import Plan
from roewatch.breeding.record import BroodRecord
from roewatch.room.journal import Amended, JournalEntry
from roewatch.room.reading import Flag, Flagged
from roewatch.room.series import Series
from roewatch.room.tank import Probe
from roewatch.storage import broods, curve, entries, opening
from roewatch.storage.cell import RAW_SQL
from roewatch.storage.day import Cells
from roewatch.storage.ledger import alarm_of, notice_of, plan_of
from roewatch.storage.schema import NEWEST, TABLES, schema_of
from roewatch.storage.thinning import Columns, thinned
from roewatch.storage.trouble import StoreError, in_words, read_from

_NOTHING = Columns([], [], [])
_CHUNK = 20_000


class _Own:
    """One thread's connection, closed with the thread: pools of them come and go for months."""

    def __init__(self, path: Path) -> None:
        self.connection = opening.reading(path)
        if schema_of(self.connection, path) < NEWEST:
            raise StoreError(
                f"{path}: written by an older program; `roewatch watch` brings it up to date when "
                "it starts"
            )

    def __del__(self) -> None:
        connection = getattr(self, "connection", None)  # opening it may have failed
        if connection is not None:
            connection.close()


class Records:
    """Read-only; safe from any thread, each of which gets a connection of its own."""

    def __init__(self, path: Path) -> None:
        """Opens nothing yet. Each query raises StoreError while there is no store at `path`, and
        DamagedStoreError when it meets a part of the file that is damaged.
        """
        self.path = path
        self._mine = threading.local()
        self._all: weakref.WeakSet[_Own] = weakref.WeakSet()
        self._adding = threading.Lock()

    def close(self) -> None:
        """Close every thread's connection; call it when no thread is reading."""
        with self._adding:
            for own in list(self._all):
                own.connection.close()
            self._mine = threading.local()

    @property
    def connection(self) -> sqlite3.Connection:
        """This thread's own connection, which cannot write."""
        own: _Own | None = getattr(self._mine, "own", None)
        if own is None:
            own = _Own(self.path)
            self._mine.own = own
            with self._adding:
                self._all.add(own)
        return own.connection

    # readings

    @in_words
    def latest(self, probes: Iterable[Probe] = ()) -> dict[str, Flagged]:
        """The newest reading of each probe that ever spoke.

        probes: those whose calibration `value` should carry; of any other, `value` is the raw.
        """
        known = {probe.id: probe for probe in probes}
        found = self.connection.execute(
            f"SELECT p.name, h.at_ms, {RAW_SQL}, h.flag, k.last_ms, k.last_raw, k.last_flag"  # noqa: S608
            " FROM probes p LEFT JOIN hot h ON h.probe = p.id"
            " AND h.at_ms = (SELECT max(at_ms) FROM hot WHERE probe = p.id)"
            " LEFT JOIN packed k ON k.slot = (SELECT max(slot) FROM packed"
            " WHERE slot BETWEEN p.id << 20 AND (p.id << 20) + 1048575)"
        )
        newest = {}
        for name, *both in found:
            told = [both[i : i + 3] for i in (0, 3) if both[i] is not None]
            if told:
                at_ms, raw, flag = max(told)
                value = known[name].calibrated(raw, at_ms) if name in known else raw
                newest[name] = Flagged(name, at_ms, raw, value, Flag(flag))
        return newest

    @in_words
    def series(self, probe: Probe, from_ms: int, to_ms: int, columns: int = 0) -> Series:
        """The probe's readings with from_ms <= at_ms < to_ms, calibrated, in order of time.

        columns: 0 for every reading; else thinned for so many pixel columns (see
        `curve.drawn` and `thinning.thinned` for what is kept).
        """
        db = self.connection
        with opening.snapshot(db):
            row = db.execute("SELECT id FROM probes WHERE name = ?", (probe.id,)).fetchone()
            points = _points(db, row[0], probe, from_ms, to_ms, columns) if row else _NOTHING
        return Series(
            probe=probe.id,
            tank=probe.tank,
            quantity=probe.quantity,
            every_ms=probe.every_ms,
            from_ms=from_ms,
            to_ms=to_ms,
            at_ms=points.at_ms,
            value=points.value,
            flag=points.flag,
            thinned=columns > 0,
        )

    def chunks(
        self, probe_id: str, from_ms: int, to_ms: int, at_most: int = _CHUNK
    ) -> Iterator[Cells]:
        """All readings with from_ms <= at_ms < to_ms, in order; each chunk `at_most`, or a day.

        Holds no lock between two chunks, so a slow reader never makes the log grow; readings that
        come in meanwhile, behind where it has got to, are not seen.
        """
        from_ms = max(0, from_ms)
        while from_ms < to_ms:
            with read_from(self.path), opening.snapshot(db := self.connection):
                row = db.execute("SELECT id FROM probes WHERE name = ?", (probe_id,)).fetchone()
                if row is None:
                    return
                cells, from_ms = curve.chunk(db, row[0], from_ms, to_ms, at_most)
            if cells.at_ms:
                yield cells

    # alarms and notices

    @in_words
    def alarms(
        self,
        *,
        open_only: bool = False,
        tank: str | None = None,
        from_ms: int | None = None,
        to_ms: int | None = None,
        limit: int = 500,
    ) -> list[Alarm]:
        """Alarms raised in from_ms <= raised_ms < to_ms, newest first."""
        wanted: dict[str, Any] = {
            "tank = ?": tank,
            "raised_ms >= ?": from_ms,
            "raised_ms < ?": to_ms,
        }
        asked = {text: value for text, value in wanted.items() if value is not None}
        where = " AND ".join(["state <> 'normal'" if open_only else "true", *asked])
        return entries.alarms(
            self.connection,
            f"{where} ORDER BY raised_ms DESC, number DESC LIMIT ?",
            [*asked.values(), limit],
        )

    @in_words
    def alarm(self, number: int) -> Alarm | None:
        """The alarm of that number."""
        found = entries.alarms(self.connection, "number = ?", (number,))
        return found[0] if found else None

    @in_words
    def changes(self, number: int) -> list[AlarmChange]:
        """The life of one alarm, in order of time."""
        found = self.connection.execute(
            "SELECT at_ms, body, before FROM changes WHERE number = ? ORDER BY at_ms, id", (number,)
        )
        return [
            AlarmChange(at_ms=at_ms, alarm=alarm_of(body), before=State(before))
            for at_ms, body, before in found
        ]

    @in_words
    def told(self, number: int) -> list[tuple[Notice, Receipt | None]]:
        """Notices that speak of that alarm, as they were made, each with its last receipt."""
        found = self.connection.execute(
            "SELECT n.body, r.notice, r.at_ms, r.outcome, r.reason, r.attempt"
            " FROM told t JOIN notices n ON n.id = t.notice LEFT JOIN receipts r"
            " ON r.id = (SELECT max(id) FROM receipts WHERE notice = n.id)"
            " WHERE t.number = ? ORDER BY n.rowid",
            (number,),
        )
        return [(notice_of(row[0]), _receipt(row[1:]) if row[1] else None) for row in found]

    # the keeper's own entries

    @in_words
    def journal(self, tank: str | None, from_ms: int, to_ms: int) -> list[JournalEntry]:
        """Entries with from_ms <= at_ms < to_ms, in order of time; of all tanks for None."""
        return [entry for _, entry in self.numbered_journal(tank, from_ms, to_ms)]

    @in_words
    def numbered_journal(
        self, tank: str | None, from_ms: int, to_ms: int
    ) -> list[tuple[int, JournalEntry]]:
        """The same, each with the number an amendment knows it by."""
        found = self.connection.execute(
            "SELECT id, tank, at_ms, deed, until_ms, detail FROM journal"
            " WHERE at_ms >= ? AND at_ms < ? AND tank = ifnull(?, tank) ORDER BY at_ms, id",
            (from_ms, to_ms, tank),
        )
        return [(row[0], entries.journal_entry(row[1:])) for row in found]

    @in_words
    def entry(self, number: int) -> JournalEntry | None:
        """The entry of that number; None if there is none."""
        return entries.numbered(self.connection, number)

    @in_words
    def amended(self, tank: str | None, from_ms: int, to_ms: int) -> list[Amended]:
        """Entries as they were before they were put right or taken back, the oldest word first.

        from_ms, to_ms: of the entries as they were.
        """
        found = self.connection.execute(
            "SELECT number, changed_ms, by, withdrawn, tank, at_ms, deed, until_ms, detail"
            " FROM amended WHERE at_ms >= ? AND at_ms < ? AND tank = ifnull(?, tank) ORDER BY id",
            (from_ms, to_ms, tank),
        )
        return [entries.amended(row) for row in found]

    @in_words
    def brood_records(self, brood: str | None = None) -> list[BroodRecord]:
        """The records of one brood, or of all, in the order in which they happened."""
        return broods.brood_records(self.connection, brood)

    @in_words
    def brood_count(self) -> int:
        """How many records of broods there are; none is ever changed or taken out."""
        (count,) = self.connection.execute("SELECT count(*) FROM brood_records").fetchone()
        return int(count)

    @in_words
    def state(self, key: str) -> str:
        """The text remembered under `key`, "" for none."""
        found = self.connection.execute("SELECT body FROM states WHERE key = ?", (key,)).fetchone()
        return str(found[0]) if found else ""

    @in_words
    def plans(self, tank: str) -> list[Plan]:
        """The tank's plans, in order of their start."""
        found = self.connection.execute(
            "SELECT tank, quantity, steps FROM plans WHERE tank = ? ORDER BY start_ms, quantity",
            (tank,),
        )
        return [plan_of(*row) for row in found]

    # the store itself

    @in_words
    def counts(self) -> dict[str, int]:
        """Rows in each table, all `readings`, and every tally, such as `contradicted`."""
        db = self.connection
        with opening.snapshot(db):
            tables = {
                table: db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608
                for table in TABLES
            }
            (in_days,) = db.execute(
                "SELECT ifnull(sum(n), 0) FROM packed WHERE body IS NOT NULL"
            ).fetchone()
            tables["readings"] = tables["hot"] + in_days
            return tables | dict(db.execute("SELECT name, n FROM tallies"))

    def sound(self, at_most_ms: int) -> bool:
        """Check the file as `Store.open` does, for longer; False when the time was too short.

        Raises DamagedStoreError at the first fault. Packed days have checksums of their own, see
        `Store.check_some`.
        """
        return opening.check_sound(self.connection, self.path, at_most_ms)

    @in_words
    def packed(self) -> tuple[int, int]:
        """Readings in packed days, and the bytes those take with their roll-ups."""
        found = self.connection.execute(
            "SELECT ifnull(sum(n), 0), ifnull(sum(length(body) + ifnull(length(hours), 0)"
            " + ifnull(length(tens), 0) + ifnull(length(minutes), 0)), 0)"
            " FROM packed WHERE body IS NOT NULL"
        ).fetchone()
        return found[0], found[1]


def _receipt(row: tuple[str, int, str, str, int]) -> Receipt:
    notice, at_ms, outcome, reason, attempt = row
    return Receipt(
        notice=notice, at_ms=at_ms, outcome=Outcome(outcome), reason=reason, attempt=attempt
    )


def _points(
    db: sqlite3.Connection, id_: int, probe: Probe, from_ms: int, to_ms: int, columns: int
) -> Columns:
    """Calibrated points. The span is read in parts that lie between two calibrations."""
    from_ms = max(0, from_ms)  # nothing is kept from before 1970
    if from_ms >= to_ms:
        return _NOTHING
    if not columns:
        points = curve.whole(db, id_, from_ms, to_ms)
        if not probe.calibrations:
            return points
        return points._replace(value=list(map(probe.calibrated, points.value, points.at_ms)))
    frame = curve.frame_of(from_ms, to_ms, columns)
    dates = [c.at_ms for c in probe.calibrations if from_ms < c.at_ms < to_ms]
    at_ms: list[int] = []
    value: list[float] = []
    flag: list[int] = []
    for start_ms, end_ms in pairwise([from_ms, *dates, to_ms]):
        part = curve.drawn(db, id_, frame, start_ms, end_ms)
        at_ms.extend(part.at_ms)
        value.extend(map(probe.calibrated, part.value, part.at_ms))
        flag.extend(part.flag)
    return thinned(Columns(at_ms, value, flag), frame.edges)
