"""A brood's records as its page lists them: the newest first, with what each said before."""

from dataclasses import dataclass

from roewatch.breeding.brood import Brood
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.moment import MINUTE_MS
from roewatch.views.brood_form import PLANNED, UNDO_MS
from roewatch.views.brood_words import PLAN, BroodWords, record_words


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """One record as the list shows it. before: what it said earlier. count: to be corrected."""

    id: str
    at_ms: int
    words: str
    tank: str
    made: str
    before: tuple[str, ...]
    undo: bool
    correct: bool
    withdrawn: bool
    wall: str
    detail: str
    count: str | None
    plan: tuple[tuple[str, str, str], ...] = ()
    outcome: str = ""
    ticked: bool = False


def history(brood: Brood, now_ms: int, say: BroodWords) -> list[HistoryLine]:
    """Every record, the newest first; what was corrected or withdrawn stays visible."""
    found = [_line(record, brood, now_ms, say) for record in brood.records]
    found += [
        _withdrawn(one.record, one.by, say)
        for one in brood.superseded
        if one.by is not None and one.by.act is BroodAct.WITHDRAWN
    ]
    return sorted(found, key=lambda line: line.at_ms, reverse=True)


def _line(record: BroodRecord, brood: Brood, now_ms: int, say: BroodWords) -> HistoryLine:
    return HistoryLine(
        id=record.id,
        at_ms=record.at_ms,
        words=record_words(record),
        tank=record.tank,
        made=_made(record, say),
        before=_before(record, brood, say),
        undo=0 <= now_ms - record.made_ms < UNDO_MS,
        correct=True,
        withdrawn=False,
        wall=say.wall(record.at_ms),
        detail=record.detail,
        count=record.count.text if record.count is not None else None,
        plan=tuple((n, PLAN[n], record.fields.get(n, "")) for n in PLANNED)
        if record.act is BroodAct.STARTED
        else (),
        outcome=record.fields.get("outcome", "") if record.act is BroodAct.ENDED else "",
        ticked=record.act is BroodAct.DONE,
    )


def _withdrawn(record: BroodRecord, taken: BroodRecord, say: BroodWords) -> HistoryLine:
    return HistoryLine(
        id=taken.id,
        at_ms=record.at_ms,
        words=record_words(record),
        tank=record.tank,
        made=f"taken back {say.when(taken.made_ms)}{_by(taken)}",
        before=(),
        undo=True,
        correct=False,
        withdrawn=True,
        wall="",
        detail="",
        count=None,
    )


def _made(record: BroodRecord, say: BroodWords) -> str:
    """When and by whom it was written down, where that is not when it happened."""
    if record.replaces:
        return f"corrected {say.when(record.made_ms)}{_by(record)}"
    late = record.made_ms - record.at_ms > MINUTE_MS
    if late:
        return f"written down {say.when(record.made_ms)}{_by(record)}"
    return _by(record).strip()


def _by(record: BroodRecord) -> str:
    return f" by {record.by}" if record.by else ""


def _before(record: BroodRecord, brood: Brood, say: BroodWords) -> tuple[str, ...]:
    """What a corrected record said earlier, the oldest last."""
    known = {s.record.id: s.record for s in brood.superseded}
    found: list[str] = []
    while record.replaces in known and len(found) < 20:
        record = known[record.replaces]
        found.append(f"{say.when(record.at_ms)} {record_words(record)}")
    return tuple(found)
