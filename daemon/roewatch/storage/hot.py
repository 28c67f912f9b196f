"""The hot table: readings as they come in, each moment of each probe once.

A moment is either here or in a packed day, never in both. Each method runs inside a transaction
its caller has begun; after a rollback call `forget`.
"""

import sqlite3
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from operator import itemgetter

from roewatch.room.reading import Flagged
from roewatch.storage import entries
from roewatch.storage.cell import cell_of, raw_of
from roewatch.storage.day import NOTHING, Cells, day_of, slot_of
from roewatch.storage.packing import replace_day, sound_day

LATEST_MS = 2**43  # year 2248; past it a moment is a broken clock
_BY_PROBE_AND_TIME = itemgetter(0, 1)
_TIME = itemgetter(1)
_DAYS_AT_HAND = 16

Row = tuple[int, int, int | float, int]


class Hot:
    """What the writer knows of the readings by heart, so that a batch costs one statement.

    earliest_ms: nothing in the table is earlier; only so exact as it has been looked at.
    """

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self.ids: dict[str, int] = {}
        self._packed_until: dict[int, int] = {}
        self._newest: dict[int, int] = {}
        self._days: dict[int, Cells | None] = {}
        self.mirroring = False
        self.earliest_ms = 0
        self.forget()

    def forget(self) -> None:
        """Learn it all from the file again."""
        self.ids = dict(self._db.execute("SELECT name, id FROM probes"))
        self._packed_until = dict(
            self._db.execute(
                "SELECT p.id, k.last_ms FROM probes p JOIN packed k ON k.slot ="
                " (SELECT max(slot) FROM packed WHERE slot BETWEEN p.id << 20 AND"
                " (p.id << 20) + 1048575)"
            )
        )
        newest = "SELECT p.id, (SELECT max(at_ms) FROM hot WHERE probe = p.id) FROM probes p"
        self._newest = {
            probe: max(self._packed_until.get(probe, -1), -1 if at_ms is None else at_ms)
            for probe, at_ms in self._db.execute(newest)
        }
        (mirrored,) = self._db.execute("SELECT count(*) FROM mirrored").fetchone()
        self.mirroring = mirrored > 0
        self.earliest_ms = 0
        self._days = {}

    def repacked(self, slot: int, probe: int, last_ms: int) -> None:
        """A day of `probe` was packed, with `last_ms` its last reading."""
        self._days.pop(slot, None)
        self._packed_until[probe] = max(last_ms, self._packed_until.get(probe, -1))

    def id_of(self, name: str) -> int:
        """The probe's number in the file; a new one gets the next."""
        found = self.ids.get(name)
        if found is None:
            self._db.execute("INSERT INTO probes (name) VALUES (?)", (name,))
            (found,) = self._db.execute("SELECT last_insert_rowid()").fetchone()
            self.ids[name] = found
        return found

    def keep(self, readings: Sequence[Flagged]) -> int:
        """Keep what is new; returns how many that were. Raises ValueError; see `Store.keep`."""
        rows, behind = self._rows(readings)
        fresh = len(rows)
        rows += self._not_packed(behind)
        # neighbours in the table are written together; stable, so that the first of two wins
        rows.sort(key=_BY_PROBE_AND_TIME)
        before = self._db.total_changes
        self._db.executemany("INSERT OR IGNORE INTO hot VALUES (?, ?, ?, ?)", rows)
        new = self._db.total_changes - before
        earliest_ms = min(map(_TIME, rows), default=self.earliest_ms)
        self.earliest_ms = min(self.earliest_ms, earliest_ms)
        if new < len(rows):
            entries.tally(self._db, "contradicted", self._contradicted(rows))
        if new > fresh:  # not only repeats came late
            self._note_late(row[:2] for row in behind)
        return new

    def _rows(self, readings: Sequence[Flagged]) -> tuple[list[Row], list[Row]]:
        """Rows later than all before of their probe; and apart, those that are not."""
        rows: list[Row] = []
        behind: list[Row] = []
        ids, newest = self.ids, self._newest
        for name, at_ms, raw, _, flag in readings:
            if not 0 <= at_ms < LATEST_MS:
                raise ValueError(f"probe {name}: moment {at_ms} ms is no time a tank was measured")
            probe = ids.get(name) or self.id_of(name)
            # int(): sqlite3 takes an exact int several times faster than an enumeration's member
            row = (probe, at_ms, cell_of(raw), int(flag))
            if at_ms > newest.get(probe, -1):
                newest[probe] = at_ms
                rows.append(row)
            else:
                behind.append(row)
        return rows, behind

    def _not_packed(self, behind: list[Row]) -> list[Row]:
        """Those of the rows whose moment is in no packed day; the others are counted."""
        rows: list[Row] = []
        contradicted = past = 0
        behind.sort(key=_BY_PROBE_AND_TIME)  # so that each day is opened once
        for row in behind:
            if row[1] > self._packed_until.get(row[0], -1):
                rows.append(row)
                continue
            day = self._day(slot_of(row[0], day_of(row[1])))
            if day is None:
                past += 1
                continue
            packed = _cell_at(day, row[1])
            if packed is None:
                rows.append(row)
            else:
                contradicted += raw_of(packed) != raw_of(row[2])
        entries.tally(self._db, "contradicted", contradicted)
        entries.tally(self._db, "past-retention", past)
        return rows

    def _note_late(self, moments: Iterable[tuple[int, int]]) -> None:
        """Tell the mirror, which may be past these moments, which spans to ship again."""
        if not self.mirroring:
            return
        spans: dict[int, tuple[int, int]] = {}
        for probe, at_ms in moments:
            first_ms, last_ms = spans.get(probe, (at_ms, at_ms))
            spans[probe] = (min(first_ms, at_ms), max(last_ms, at_ms))
        self._db.executemany(
            "INSERT INTO late (probe, first_ms, last_ms) VALUES (?, ?, ?)",
            [(probe, *span) for probe, span in spans.items()],
        )

    def _contradicted(self, rows: Iterable[Row]) -> int:
        """How many of `rows` say another number than the one kept for their moment."""
        query = "SELECT raw FROM hot WHERE probe = ? AND at_ms = ?"
        return sum(self._db.execute(query, row[:2]).fetchone()[0] != row[2] for row in rows)

    def _day(self, slot: int) -> Cells | None:
        """What is packed of that day; None when its readings were let go."""
        if slot not in self._days:
            row = self._db.execute("SELECT body FROM packed WHERE slot = ?", (slot,)).fetchone()
            if len(self._days) >= _DAYS_AT_HAND:
                self._days.pop(next(iter(self._days)))
            if row is None:
                self._days[slot] = NOTHING
            elif row[0] is None:
                self._days[slot] = None
            else:  # a damaged day makes room: readings of it may be brought in again
                self._days[slot] = sound_day(self._db, slot, row[0]) or NOTHING
        return self._days[slot]

    def revise(self, revised: Iterable[Flagged]) -> None:
        """Put flags right, wherever the reading is by now; numbers do not change."""
        days: dict[int, dict[int, int]] = {}
        revised = list(revised)
        self._note_late((self.id_of(reading.probe), reading.at_ms) for reading in revised)
        for reading in revised:
            probe = self.id_of(reading.probe)
            hot = self._db.execute(
                "UPDATE hot SET flag = ? WHERE probe = ? AND at_ms = ?",
                (int(reading.flag), probe, reading.at_ms),
            )
            if not hot.rowcount and reading.at_ms <= self._packed_until.get(probe, -1):
                slot = slot_of(probe, day_of(reading.at_ms))
                days.setdefault(slot, {})[reading.at_ms] = int(reading.flag)
        for slot, flags in days.items():
            cells = self._day(slot) or NOTHING
            put_right = [
                flags.get(at_ms, flag) for at_ms, flag in zip(cells.at_ms, cells.flag, strict=True)
            ]
            if cells.at_ms:
                replace_day(self._db, slot, cells._replace(flag=put_right))
            self._days.pop(slot, None)


def _cell_at(cells: Cells, at_ms: int) -> int | float | None:
    nth = bisect_left(cells.at_ms, at_ms)
    there = nth < len(cells.at_ms) and cells.at_ms[nth] == at_ms
    return cells.cell[nth] if there else None
