"""The records page: what was done to a tank, one tap to add to it, and any record put right."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from roewatch.room.journal import Amended, Amendment, Deed, JournalEntry
from roewatch.room.moment import DAY_MS, MINUTE_MS, SECOND_MS, moment_of
from roewatch.room.stage import Stage
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.axis import instants
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor
from roewatch.views.week import deed_words, letter

UNDO_MS = 10 * MINUTE_MS
"""So long the page offers to take a record back with one tap; it can be corrected for ever."""

OFFERED = frozenset({Deed.WATER_CHANGE, Deed.NOTE, Deed.STAGE})
LONGEST = 300
_RECENT_MS = 30 * DAY_MS
_TWICE_MS = 30 * SECOND_MS
_BOUNCE_MS = SECOND_MS
_USUAL_PERCENT = 20
_STEP_PERCENT = 5
_PERCENT = re.compile(r"(\d{1,3}) ?%")


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One entry as the page lists it. before: its older words. undo: one tap takes it back."""

    number: int
    entry: JournalEntry
    before: Sequence[Amended]
    undo: bool


def records_of(desk: Desk, tank: str, from_ms: int, to_ms: int, now_ms: int) -> list[Record]:
    """A tank's entries, the newest first, each with what it said before it was put right."""
    amended = desk.records.amended(tank, 0, now_ms + 1)
    return [
        Record(
            number=number,
            entry=entry,
            before=[one for one in amended if one.number == number],
            undo=0 <= now_ms - entry.at_ms < UNDO_MS,
        )
        for number, entry in reversed(desk.records.numbered_journal(tank, from_ms, to_ms))
    ]


def usual_changes(entries: Sequence[JournalEntry]) -> list[str]:
    """Water changes to offer with one tap: the last one's share, a step less, a step more."""
    shares = [
        int(match[1])
        for entry in entries
        if entry.deed is Deed.WATER_CHANGE and (match := _PERCENT.match(entry.detail))
    ]
    usual = shares[-1] if shares and 0 < shares[-1] <= 100 else _USUAL_PERCENT
    offered = (usual - _STEP_PERCENT, usual, usual + _STEP_PERCENT)
    return [f"{share} %" for share in offered if 0 < share <= 100]


def records_page(desk: Desk, request: Request) -> Response:
    """What was done to one tank, and one tap to add to it."""
    sight = desk.lookout.look()
    first = sight.room.tanks[0].id if sight.room.tanks else ""
    wanted = request.query_params.get("tank", first)
    standing = sight.of(wanted) if wanted else None
    since_ms, until_ms = sight.now_ms - _RECENT_MS, sight.now_ms + 1
    records = records_of(desk, wanted, since_ms, until_ms, sight.now_ms) if wanted else []
    withdrawn = [
        one for one in desk.records.amended(wanted, since_ms, until_ms) if one.withdrawn
    ] if wanted else []  # fmt: skip
    return desk.page(
        request,
        "records.html",
        sight,
        tank=standing.tank if standing else None,
        stage=standing.stage if standing else "",
        records=records,
        withdrawn=withdrawn[::-1],
        changes=usual_changes([record.entry for record in records[::-1]]),
        **words_of_records(),
    )


def words_of_records() -> dict[str, Any]:
    """What the list of records and the taps above it need beyond the records."""
    return {"letter": letter, "deed_words": deed_words, "stages": tuple(Stage)}


def _numbered(desk: Desk, number: int) -> JournalEntry:
    entry = desk.records.entry(number) if number < 2**63 else None
    if entry is None:
        raise NotHereError(f"There is no record {number}; it may have been withdrawn.")
    return entry


def wall(at_ms: int, zone: str) -> str:
    """A moment as a browser's field for day and time writes it."""
    return f"{moment_of(at_ms).astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}"


def record_page(desk: Desk, request: Request) -> Response:
    """One record, to be put right or taken back."""
    sight = desk.lookout.look()
    number = request.path_params["number"]
    entry = _numbered(desk, number)
    return desk.page(
        request,
        "correct.html",
        sight,
        number=number,
        entry=entry,
        wall=wall(entry.at_ms, sight.room.zone),
        before=[a for a in desk.records.amended(entry.tank, 0, 2**62) if a.number == number],
        **words_of_records(),
    )


class Recording:
    """The forms of the records page."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def enter(self, request: Request, fields: Fields, _: Visitor) -> Response:
        """Record what was done to a tank: once for two quick taps, and asking before a second."""
        sight = self._desk.lookout.look()
        tank = sight.of(fields.get("tank", "")).tank
        if fields.get("deed") not in OFFERED:
            raise AskedWrongError("Choose what was done: water change, stage or note.")
        deed, detail = Deed(fields["deed"]), fields.get("detail", "").strip()[:LONGEST]
        if deed is Deed.NOTE and not detail:
            raise AskedWrongError("An empty note says nothing; write a word or two.")
        now_ms = sight.now_ms
        recent = self._desk.records.journal(tank.id, now_ms - _TWICE_MS, now_ms + 1)
        same = [e for e in recent if e.deed is deed and e.detail == detail]
        if same and now_ms - same[-1].at_ms < _BOUNCE_MS:
            return back(fields, f"{tank.id}: {deed_words(same[-1])}, recorded once.")
        if same and fields.get("again") != "yes":
            return self._desk.page(
                request, "again.html", sight, tank=tank, entry=same[-1], fields=fields,
                **words_of_records(),
            )  # fmt: skip
        entry = JournalEntry(at_ms=now_ms, tank=tank.id, deed=deed, detail=detail)
        self._desk.deeds.enter(entry)
        # the record itself stands there, with its undo
        where = fields.get("back", "/records").split("#")[0]
        told = f"{tank.id}: {deed_words(entry)}, recorded."
        return back(fields | {"back": f"{where}#e-{now_ms}"}, told)

    def withdraw(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Take a record back; what it said is kept."""
        number = request.path_params["number"]
        entry = _numbered(self._desk, number)
        self._amend(number, None, by)
        return back(fields, f"{entry.tank}: {deed_words(entry)}, withdrawn.", "/records")

    def correct(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Put a record right; what it said before is kept."""
        number = request.path_params["number"]
        before = _numbered(self._desk, number)
        detail = fields.get("detail", "").strip()[:LONGEST]
        if before.deed is Deed.NOTE and not detail:
            raise AskedWrongError("An empty note says nothing; withdraw it instead.")
        entry = moved(before, self._moment(fields.get("at", ""), before), detail)
        if entry != before:
            self._amend(number, entry, by)
        return back(fields, f"{entry.tank}: {deed_words(entry)}, put right.", "/records")

    def _amend(self, number: int, entry: JournalEntry | None, by: Visitor) -> None:
        at_ms = self._desk.live.now_ms()
        self._desk.deeds.amend(Amendment(number=number, entry=entry, at_ms=at_ms, by=by.name))

    def _moment(self, text: str, before: JournalEntry) -> int:
        """The moment a field names in the room's zone; unchanged, it keeps its seconds."""
        zone, now_ms = self._desk.live.room().zone, self._desk.live.now_ms()
        if text in {"", wall(before.at_ms, zone)}:
            return before.at_ms
        try:
            named = datetime.strptime(text, "%Y-%m-%dT%H:%M")  # noqa: DTZ007 a wall clock
            at_ms = instants(named, ZoneInfo(zone))[0][0]
        except (ValueError, IndexError, OverflowError) as fault:
            raise AskedWrongError(f"When: {text[:40]!r} is no day and time.") from fault
        if not 0 <= at_ms <= now_ms:
            raise AskedWrongError("When: a record is of the past, not of the future.")
        return at_ms


def moved(before: JournalEntry, at_ms: int, detail: str) -> JournalEntry:
    """The record with another moment and detail; how long the deed took stays."""
    lasted = None if before.until_ms is None else before.until_ms - before.at_ms
    return JournalEntry(
        at_ms=at_ms,
        tank=before.tank,
        deed=before.deed,
        until_ms=None if lasted is None else at_ms + lasted,
        detail=detail,
    )
