"""A manifest: what was kept, as the mirror has to ship and to count it."""

import sqlite3
from collections.abc import Mapping

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.breeding.record import BroodRecord
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS
from roewatch.storage import entries
from roewatch.storage.broods import brood_record
from roewatch.storage.ledger import alarm_of
from roewatch.storage.reader import Records
from roewatch.storage.trouble import in_words


class Manifest:
    """What only the mirror asks of the records."""

    def __init__(self, records: Records) -> None:
        """Each thread reads over its own connection, as it does with `records`."""
        self._records = records
        self.path = records.path

    @property
    def _db(self) -> sqlite3.Connection:
        return self._records.connection

    @in_words
    def mirrored(self) -> dict[str, int]:
        """How far the mirror was sure; empty before it first began."""
        return dict(self._db.execute("SELECT key, at FROM mirrored"))

    @in_words
    def late_after(self, number: int, limit: int) -> list[tuple[int, str, int, int]]:
        """Spans (number, probe, first_ms, last_ms) in which readings came or changed behind."""
        return self._db.execute(
            "SELECT l.id, p.name, l.first_ms, l.last_ms FROM late l JOIN probes p"
            " ON p.id = l.probe WHERE l.id > ? ORDER BY l.id LIMIT ?",
            (number, limit),
        ).fetchall()

    @in_words
    def changes_after(self, number: int, limit: int) -> list[tuple[int, AlarmChange]]:
        """All alarms' changes past row `number`, in the order they were kept."""
        found = self._db.execute(
            "SELECT id, at_ms, body, before FROM changes WHERE id > ? ORDER BY id LIMIT ?",
            (number, limit),
        )
        return [
            (row[0], AlarmChange(at_ms=row[1], alarm=alarm_of(row[2]), before=State(row[3])))
            for row in found
        ]

    @in_words
    def journal_after(self, number: int, limit: int) -> list[tuple[int, JournalEntry]]:
        """Journal entries past row `number`, in the order they were kept."""
        found = self._db.execute(
            "SELECT id, tank, at_ms, deed, until_ms, detail FROM journal WHERE id > ?"
            " ORDER BY id LIMIT ?",
            (number, limit),
        )
        return [(row[0], entries.journal_entry(row[1:])) for row in found]

    @in_words
    def broods_after(self, number: int, limit: int) -> list[tuple[int, BroodRecord]]:
        """Records of broods past row `number`, in the order they were kept."""
        found = self._db.execute(
            "SELECT rowid, body FROM brood_records WHERE rowid > ? ORDER BY rowid LIMIT ?",
            (number, limit),
        )
        return [(row, brood_record(body)) for row, body in found]

    @in_words
    def day_counts(self, day: int) -> dict[str, int]:
        """Readings each probe had on that day since 1970 (UTC), also where they were let go."""
        found = self._db.execute(
            "SELECT p.name, ifnull(k.n, 0) + (SELECT count(*) FROM hot h WHERE h.probe = p.id"
            " AND h.at_ms >= ? AND h.at_ms < ?) AS n"
            " FROM probes p LEFT JOIN packed k ON k.slot = (p.id << 20) + ?",
            (day * DAY_MS, (day + 1) * DAY_MS, day),
        )
        return {name: n for name, n in found if n}

    @in_words
    def behind(self, positions: Mapping[str, int]) -> int:
        """Readings past each probe's moment; a packed day counts whole."""
        total = 0
        for name, probe in self._db.execute("SELECT name, id FROM probes").fetchall():
            after = positions.get(name, -1)
            (n,) = self._db.execute(
                "SELECT (SELECT count(*) FROM hot WHERE probe = ?1 AND at_ms > ?2) + (SELECT"
                " ifnull(sum(n), 0) FROM packed WHERE slot >= (?1 << 20) + ?3"
                " AND slot < (?1 + 1) << 20 AND last_ms > ?2)",
                (probe, after, max(0, after) // DAY_MS),
            ).fetchone()
            total += n
        return total
