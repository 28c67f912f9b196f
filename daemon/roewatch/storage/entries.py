"""Entries: the statements that keep alarms, notices, receipts, journal, plans and states.

Each runs inside a transaction its caller has begun.
"""

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from roewatch.alarms.alarm import Alarm, AlarmChange
from roewatch.alarms.notice import Notice, Receipt
from roewatch.breeding.plan import Plan
from roewatch.room.journal import Amended, Amendment, Deed, JournalEntry
from roewatch.storage.ledger import alarm_of, alarm_text, notice_text, steps_text


def tally(db: sqlite3.Connection, name: str, n: int) -> None:
    """Count `n` more of what is counted under `name`."""
    if n:
        db.execute(
            "INSERT INTO tallies VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET n = n + excluded.n",
            (name, n),
        )


def keep_states(db: sqlite3.Connection, states: Mapping[str, str]) -> None:
    """Remember each text under its key; an empty one forgets the key."""
    db.executemany(
        "INSERT INTO states VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET body = excluded.body",
        [(key, body) for key, body in states.items() if body],
    )
    forgotten = [(key,) for key, body in states.items() if not body]
    db.executemany("DELETE FROM states WHERE key = ?", forgotten)


def keep_alarms(
    db: sqlite3.Connection, alarms: Sequence[Alarm], changes: Sequence[AlarmChange]
) -> None:
    """The newest form of each alarm, by number; and its history, only ever added to."""
    db.executemany(
        "INSERT INTO alarms VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (number) DO UPDATE"
        " SET key = excluded.key, episode = excluded.episode, tank = excluded.tank,"
        " state = excluded.state, raised_ms = excluded.raised_ms, body = excluded.body",
        [
            (a.number, a.key, a.episode, a.tank, a.state.value, a.raised_ms, alarm_text(a))
            for a in alarms
        ],
    )
    db.executemany(
        "INSERT OR IGNORE INTO changes (number, at_ms, before, body) VALUES (?, ?, ?, ?)",
        [(c.alarm.number, c.at_ms, c.before.value, alarm_text(c.alarm)) for c in changes],
    )


def alarms(db: sqlite3.Connection, where: str, values: Sequence[Any] = ()) -> list[Alarm]:
    """Alarms for which `where` (our own SQL, never a person's) holds."""
    query = f"SELECT body FROM alarms WHERE {where}"  # noqa: S608
    return [alarm_of(body) for (body,) in db.execute(query, values)]


def keep_notices(db: sqlite3.Connection, notices: Sequence[Notice]) -> None:
    """New notices, due as they say; one known by its id keeps its attempts and receipts."""
    db.executemany(
        "INSERT OR IGNORE INTO notices (id, rank, due_ms, next_ms, body) VALUES (?, ?, ?, ?, ?)",
        [(n.id, n.priority.rank, n.due_ms, n.due_ms, notice_text(n)) for n in notices],
    )
    db.executemany(
        "INSERT OR IGNORE INTO told VALUES (?, ?)",
        [(number, notice.id) for notice in notices for number in notice.alarms],
    )


def keep_receipts(db: sqlite3.Connection, receipts: Sequence[tuple[Receipt, int | None]]) -> None:
    """What came of attempts. Raises ValueError for a notice that was never kept."""
    for receipt, next_due_ms in receipts:
        # the count never stands still, whatever the sender says, so retries stay bounded
        counted = db.execute(
            "UPDATE notices SET next_ms = ?, attempts = max(attempts + 1, ?) WHERE id = ?",
            (next_due_ms, receipt.attempt, receipt.notice),
        ).rowcount
        if not counted:
            raise ValueError(f"receipt for notice {receipt.notice!r}, which was never kept")
        db.execute(
            "INSERT INTO receipts (notice, at_ms, outcome, reason, attempt) VALUES (?, ?, ?, ?, ?)",
            (
                receipt.notice,
                receipt.at_ms,
                receipt.outcome.value,
                receipt.reason,
                receipt.attempt,
            ),
        )


def keep_journal(db: sqlite3.Connection, journal: Sequence[JournalEntry]) -> None:
    """New journal entries; an exact repeat changes nothing."""
    db.executemany(
        "INSERT OR IGNORE INTO journal (id, tank, at_ms, deed, until_ms, detail)"
        " SELECT 1 + max(ifnull((SELECT max(id) FROM journal), 0),"
        " ifnull((SELECT max(number) FROM amended), 0)), ?, ?, ?, ?, ?",
        [_journal_row(entry) for entry in journal],
    )


def numbered(db: sqlite3.Connection, number: int) -> JournalEntry | None:
    """The journal entry of that number."""
    row = db.execute(
        "SELECT tank, at_ms, deed, until_ms, detail FROM journal WHERE id = ?", (number,)
    ).fetchone()
    return None if row is None else journal_entry(row)


def amend_journal(db: sqlite3.Connection, amendments: Sequence[Amendment]) -> None:
    """Entries put right or taken back; each as it was before is kept.

    Raises ValueError for a number nobody has, and for an entry that would say what another says.
    """
    for one in amendments:
        db.execute(
            "INSERT INTO amended"
            " (number, changed_ms, by, withdrawn, tank, at_ms, deed, until_ms, detail)"
            " SELECT id, ?, ?, ?, tank, at_ms, deed, until_ms, detail FROM journal WHERE id = ?",
            (one.at_ms, one.by, int(one.entry is None), one.number),
        )
        if one.entry is None:
            done = db.execute("DELETE FROM journal WHERE id = ?", (one.number,))
        else:
            row = (*_journal_row(one.entry), one.number)
            done = db.execute(
                "UPDATE OR IGNORE journal SET tank = ?, at_ms = ?, deed = ?, until_ms = ?,"
                " detail = ? WHERE id = ?",
                row,
            )
        if done.rowcount != 1:
            raise ValueError(f"record {one.number}: there is none, or another says the same")


def number_of(db: sqlite3.Connection, entry: JournalEntry) -> int | None:
    """The number of the entry with the same tank, moment, deed and detail."""
    row = db.execute(
        "SELECT id FROM journal WHERE tank = ? AND at_ms = ? AND deed = ? AND detail = ?",
        (entry.tank, entry.at_ms, entry.deed.value, entry.detail),
    ).fetchone()
    return None if row is None else int(row[0])


def amended(row: tuple[int, int, str, int, str, int, str, int | None, str]) -> Amended:
    """What was kept of an amendment (number, changed_ms, by, withdrawn, and the entry's row)."""
    number, changed_ms, by, withdrawn, tank, at_ms, deed, until_ms, detail = row
    return Amended(
        number=number,
        at_ms=changed_ms,
        by=by,
        withdrawn=bool(withdrawn),
        before=journal_entry((tank, at_ms, deed, until_ms, detail)),
    )


def _journal_row(entry: JournalEntry) -> tuple[str, int, str, int | None, str]:
    return (entry.tank, entry.at_ms, entry.deed.value, entry.until_ms, entry.detail)


def journal_entry(row: tuple[str, int, str, int | None, str]) -> JournalEntry:
    """The entry of a row (tank, at_ms, deed, until_ms, detail)."""
    tank, at_ms, deed, until_ms, detail = row
    return JournalEntry(at_ms=at_ms, tank=tank, deed=Deed(deed), until_ms=until_ms, detail=detail)


def keep_plans(db: sqlite3.Connection, plans: Sequence[Plan]) -> None:
    """Plans by tank, quantity and start; the newest form replaces the older."""
    db.executemany(
        "INSERT OR REPLACE INTO plans VALUES (?, ?, ?, ?)",
        [(p.tank, p.quantity.value, p.steps[0].at_ms, steps_text(p)) for p in plans],
    )


def drop_plan(db: sqlite3.Connection, plan: Plan) -> bool:
    """Forget the plan of the same tank, quantity and start; False if there is none."""
    key = (plan.tank, plan.quantity.value, plan.steps[0].at_ms)
    query = "DELETE FROM plans WHERE tank = ? AND quantity = ? AND start_ms = ?"
    return db.execute(query, key).rowcount == 1
