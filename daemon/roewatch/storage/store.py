"""The store: the one writer of everything that must survive the daemon.

Durability: write-ahead log with `synchronous=FULL`, so each commit has been through fsync when
`keep` returns. What `keep` has returned for survives the death of the process, and of the machine
as far as its disk tells the truth about fsync.
"""

import heapq
import os
import sqlite3
import threading
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import repeat
from operator import itemgetter
from pathlib import Path

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.notice import Notice, Receipt
from roewatch.breeding.plan import Plan
from roewatch.breeding.record import BroodRecord
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS, iso
from roewatch.room.reading import Reading
from roewatch.storage import broods, curve, entries, opening, packing
from roewatch.storage.day import probe_and_day
from roewatch.storage.hot import LATEST_MS, Hot
from roewatch.storage.kept import Kept
from roewatch.storage.ledger import notice_of
from roewatch.storage.schema import migrate
from roewatch.storage.trouble import DamagedDayError, trouble

_BY_TIME_AND_PROBE = itemgetter(1, 0)
_CHUNKED = 100_000  # readings held at once while all probes are merged


class Store:
    """One per file, and only ever used by the thread that opened it."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: int) -> None:
        self.path = path
        self._db = connection
        self._lock = lock
        self._thread = threading.get_ident()
        self._hot = Hot(connection)
        self._next_to_pack = 0
        self._checked = -1
        self._rebuilt = -1
        self.fully_checked = False

    @staticmethod
    def open(path: Path, *, check_ms: int = 1000) -> "Store":
        """Open or start the store at `path`, bringing an older file up to date.

        check_ms: the longest the soundness check may hold up the start; `fully_checked` tells
        whether it got through. Raises BusyStoreError, NewerStoreError, DamagedStoreError, or
        StoreError for anything else about the file.
        """
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = opening.lock_of(path)
        try:
            connection = opening.writing(path)
            try:
                migrate(connection, path)
                checked = opening.check_sound(connection, path, check_ms)
                store = Store(path, connection, lock)
            except BaseException:
                connection.close()
                raise
        except BaseException:
            os.close(lock)
            raise
        store.fully_checked = checked
        return store

    def close(self) -> None:
        """Let go of the file. Everything `keep` returned for is already on disk."""
        self._own()
        self._db.close()
        os.close(self._lock)

    def _own(self) -> None:
        if threading.get_ident() != self._thread:
            raise RuntimeError("the store belongs to the thread that opened it; hand it the work")

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._own()
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except BaseException as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            self._hot.forget()  # ids given out inside the transaction are gone with it
            told = trouble(self.path, error)
            if told is not None:
                raise told from error
            raise

    def keep(self, kept: Kept) -> int:
        """Keep all of `kept` in one transaction; returns how many readings were new.

        Raises ValueError for a reading no probe can have sent (not finite, before 1970 or past
        2248) and for an amendment of nothing or into what another entry says, FullStoreError when
        the disk is full; then nothing of `kept` is kept.
        """
        with self._transaction():
            new = self._hot.keep(kept.readings)
            self._hot.revise(kept.revised)
            entries.keep_states(self._db, kept.states)
            entries.keep_alarms(self._db, kept.alarms, kept.changes)
            entries.keep_notices(self._db, kept.notices)
            entries.keep_receipts(self._db, kept.receipts)
            entries.keep_journal(self._db, kept.journal)
            entries.amend_journal(self._db, kept.amended)
            broods.keep_broods(self._db, kept.broods)
            entries.keep_plans(self._db, kept.plans)
        return new

    # alarms and notices

    def states(self) -> dict[str, str]:
        """What judging and alarms remembered, by key."""
        self._own()
        return dict(self._db.execute("SELECT key, body FROM states"))

    def open_alarms(self) -> list[Alarm]:
        """Alarms in any state but normal, by number."""
        self._own()
        return entries.alarms(self._db, "state <> 'normal' ORDER BY number")

    def next_alarm_number(self) -> int:
        """One past the highest number ever given."""
        self._own()
        (highest,) = self._db.execute("SELECT max(number) FROM alarms").fetchone()
        return (highest or 0) + 1

    def episodes(self) -> dict[str, int]:
        """How many times each key has been raised."""
        self._own()
        return dict(self._db.execute("SELECT key, max(episode) FROM alarms GROUP BY key"))

    def raised(self) -> set[tuple[str, int]]:
        """Key and moment of every alarm ever raised."""
        self._own()
        return set(self._db.execute("SELECT key, raised_ms FROM alarms"))

    def due_notices(self, now_ms: int, limit: int = 100) -> list[tuple[Notice, int]]:
        """Unfinished notices due by `now_ms`, most urgent first, with the attempts made so far."""
        self._own()
        found = self._db.execute(
            "SELECT body, attempts FROM notices WHERE next_ms <= ? ORDER BY rank, due_ms, id"
            " LIMIT ?",
            (now_ms, limit),
        )
        return [(notice_of(body), attempts) for body, attempts in found]

    def record(self, receipt: Receipt, next_due_ms: int | None) -> None:
        """Keep what came of one attempt; `next_due_ms` None when the notice is finished."""
        self.keep(Kept(receipts=((receipt, next_due_ms),)))

    def mirrored(self, positions: Mapping[str, int]) -> None:
        """Remember how far the mirror is sure; see `mirror.py` for the keys.

        From the first call on, spans in which readings come late are noted for it.
        """
        with self._transaction():
            self._db.executemany(
                "INSERT OR REPLACE INTO mirrored VALUES (?, ?)",
                list(positions.items()),
            )
            if "late" in positions:
                self._db.execute("DELETE FROM late WHERE id <= ?", (positions["late"],))
        self._hot.mirroring = True

    def stop_mirroring(self) -> None:
        """Forget the mirror's positions; a mirror that begins again ships everything anew."""
        with self._transaction():
            self._db.execute("DELETE FROM mirrored")
            self._db.execute("DELETE FROM late")
        self._hot.mirroring = False

    # what the keeper may put right afterwards

    def numbered(self, number: int) -> JournalEntry | None:
        """The journal entry of that number, for `Kept.amended`."""
        self._own()
        return entries.numbered(self._db, number)

    def number_of(self, entry: JournalEntry) -> int | None:
        """The number of the journal entry that says the same: tank, moment, deed and detail."""
        self._own()
        return entries.number_of(self._db, entry)

    def brood_records(self, brood: str | None = None) -> list[BroodRecord]:
        """The records of one brood, or of all, in the order in which they happened."""
        self._own()
        return broods.brood_records(self._db, brood)

    def drop_plan(self, plan: Plan) -> bool:
        """Forget the plan of the same tank, quantity and start; False if there is none."""
        with self._transaction():
            return entries.drop_plan(self._db, plan)

    # reading back

    def kept_after(self, positions: Mapping[str, int]) -> Iterator[Reading]:
        """Readings later than their probe's position, in order of (at_ms, probe).

        positions: by probe; a probe without one is read from its first reading. For judging again
        after a crash. Holds at most one day of each probe at once, and `keep` may be called while
        this is being read.
        """
        self._own()
        at_most = max(16, _CHUNKED // max(1, len(self._hot.ids)))
        later = [
            self._later(name, probe, positions.get(name, -1) + 1, at_most)
            for name, probe in self._hot.ids.items()
        ]
        return heapq.merge(*later, key=_BY_TIME_AND_PROBE)

    def _later(self, name: str, probe: int, from_ms: int, at_most: int) -> Iterator[Reading]:
        while from_ms < LATEST_MS:
            try:
                cells, from_ms = curve.chunk(self._db, probe, from_ms, LATEST_MS, at_most)
            except DamagedDayError as error:
                self._set_aside([error])
                continue
            yield from map(Reading, repeat(name), cells.at_ms, cells.raw())

    # packing

    def pack_some(self, now_ms: int, budget: int = 1, *, hot_ms: int = packing.LATENESS_MS) -> int:
        """Pack up to `budget` days whose readings are ripe at `now_ms`; returns how many it was.

        hot_ms: how long readings stay unpacked at least, in case more come late; the longer, the
        more a picture of the last days has to read one by one.
        Each is a transaction of its own and takes some 50 ms at one reading every 5 s. Probes
        come in turn. Call it again until it returns 0, letting new readings in between.
        """
        self._own()
        before_ms = packing.horizon(now_ms, hot_ms)
        if self._hot.earliest_ms >= before_ms:
            return 0  # with thousands of probes even looking for nothing takes its time
        probes = sorted(self._hot.ids.values())
        turn = bisect_left(probes, self._next_to_pack)
        done = 0
        for probe in [*probes[turn:], *probes[:turn]]:
            self._next_to_pack = probe
            while (at_ms := packing.ripe(self._db, probe, before_ms)) is not None:
                if done == budget:
                    return done
                with self._transaction():
                    day = packing.pack_day(self._db, probe, at_ms, before_ms)
                self._hot.repacked(*day)
                done += 1
        self._hot.earliest_ms = before_ms  # every probe was looked at and has nothing before
        return done

    def check_some(self, budget: int = 20) -> list[str]:
        """Look whether `budget` more packed days match their checksums, round and round.

        A damaged one is moved to a table of its own, so that its readings can be brought in again
        from an archive; each is told in words, for an alarm. Takes some 3 ms a day.
        """
        self._own()
        found, self._checked = packing.damaged_days(self._db, self._checked, budget)
        return self._set_aside(found)

    def _set_aside(self, found: Sequence[DamagedDayError]) -> list[str]:
        """Make room for each damaged day; returns what it was and what became of it, in words."""
        if not found:
            return []
        names = {number: name for name, number in self._hot.ids.items()}
        told = []
        with self._transaction():
            for error in found:
                probe, day = probe_and_day(error.slot)
                lost = packing.set_day_aside(self._db, error.slot, str(error))
                told.append(
                    f"{names[probe]} on {iso(day * DAY_MS)[:10]}: {error.why}; "
                    + ("bring that day in again from an export" if lost else "made again")
                )
        self._hot.forget()
        return told

    def let_go(self, before_ms: Mapping[str, int], budget: int = 100) -> int:
        """Let go of readings of days that ended by their probe's moment; roll-ups stay for ever.

        Returns how many days it was, at most `budget`; 0 when there is no more.
        """
        done = 0
        with self._transaction():
            for name, moment in before_ms.items():
                probe = self._hot.ids.get(name)
                if probe is not None and done < budget:
                    done += packing.let_go(self._db, probe, moment, budget - done)
        if done:
            self._hot.forget()
        return done

    def shed(self, budget: int = 100) -> int:
        """The disk is nearly full: give up minute roll-ups, which `rebuild` can make again.

        The room they took is used for new readings; the file does not shrink. Returns how many
        days' it was, at most `budget`.
        """
        self._rebuilt = -1
        with self._transaction():
            return packing.shed_minutes(self._db, budget)

    def rebuild(self, budget: int = 1) -> int:
        """Make roll-ups again that were shed; returns how many days', at most `budget`."""
        with self._transaction():
            slots = packing.roll_again(self._db, self._rebuilt, budget)
        if slots:
            self._rebuilt = slots[-1]  # a day may not be worth one: it is not looked at twice
        return len(slots)
