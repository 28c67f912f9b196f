"""What a person does to a brood on its page: record, undo, correct, start, end."""

import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from urllib.parse import quote, urlencode
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from roewatch.breeding.brood import Brood, broods_of
from roewatch.breeding.count import Count, Counted, count_of
from roewatch.breeding.light import light_hours
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome
from roewatch.room.moment import DAY_MS, MINUTE_MS, SECOND_MS, moment_of
from roewatch.room.stage import Stage
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.axis import instants
from roewatch.views.brood_words import record_words
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor

UNDO_MS = 10 * MINUTE_MS
LONGEST = 300
PLANNED = ("parents", "water", "food", "light")
"""What a brood is begun with, besides species and tank, by the names of its plan."""

_TWICE_MS = 30 * SECOND_MS
_OLDEST_MS = 400 * DAY_MS
_HERE = frozenset({BroodAct.STARTED, BroodAct.ENDED, BroodAct.WITHDRAWN})
"""Acts with a form of their own."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks for a deed, and when."""

    by: str
    now_ms: int


def brood_here(desk: Desk, id_: str) -> Brood:
    """One brood. Raises NotHereError for one nobody started."""
    for brood in broods_of(desk.broods.records(id_)):
        if brood.id == id_ and (brood.records or brood.superseded):
            return brood
    raise NotHereError(f"This room has no brood {id_!r}.")


def next_id(desk: Desk, now_ms: int) -> str:
    """The next brood's id: the year in the room, and a number that no brood of it has yet."""
    year = moment_of(now_ms).astimezone(ZoneInfo(desk.live.room().zone)).year
    taken = [
        int(match[1])
        for record in desk.broods.records()
        if (match := re.fullmatch(rf"{year}-(\d{{1,6}})", record.brood))
    ]
    return f"{year}-{max(taken, default=0) + 1}"


def wall_ms(text: str, zone: str, now_ms: int) -> int:
    """The moment a form's field for day and time names in the room's zone; empty for now.

    Raises AskedWrongError for what is no time, or lies ahead.
    """
    if not text.strip():
        return now_ms
    try:
        named = datetime.fromisoformat(text.strip()).replace(tzinfo=None, second=0, microsecond=0)
        at_ms = instants(named, ZoneInfo(zone))[0][0]
    except (ValueError, IndexError, OverflowError) as fault:
        raise AskedWrongError(f"When: {text[:40]!r} is no day and time.") from fault
    return at_past(at_ms, now_ms)


def at_past(at_ms: int, now_ms: int) -> int:
    """The moment itself. Raises AskedWrongError if it lies ahead or is too old to mean it."""
    if not now_ms - _OLDEST_MS <= at_ms <= now_ms + MINUTE_MS:
        raise AskedWrongError("When: a record is of the past, and not older than 400 days.")
    return at_ms


def counted_of(fields: Mapping[str, str]) -> Count | None:
    """The count a form names: a number or a range, perhaps with `to` and `about`; None for none."""
    text, to = fields.get("count", "").strip(), fields.get("to", "").strip()
    if not text:
        if to:
            raise AskedWrongError("Write the smaller number first, then up to how many.")
        return None
    count = _count(f"{text}-{to}" if to and to != text else text)
    return replace(count, about=True) if fields.get("about") else count


def _count(text: str) -> Count:
    try:
        return count_of(text)
    except ValueError as fault:
        raise AskedWrongError(str(fault)) from fault


def act_of(text: str) -> BroodAct:
    """An act that may be recorded on its own. Raises AskedWrongError for another word."""
    if text not in set(BroodAct) or BroodAct(text) in _HERE:
        offered = ", ".join(act for act in BroodAct if act not in _HERE)
        raise AskedWrongError(f"{text[:40]!r} cannot be recorded; there are {offered}.")
    return BroodAct(text)


def checked(desk: Desk, record: BroodRecord) -> BroodRecord:
    """The record, if it says what its act needs. Raises AskedWrongError."""
    tanks = {tank.id for tank in desk.live.room().tanks}
    if record.tank and record.tank not in tanks:
        raise AskedWrongError(f"This room has no tank {record.tank[:40]!r}.")
    if record.act is BroodAct.COUNTED and (record.counted is None or record.count is None):
        raise AskedWrongError("Say what was counted and how many: 60, about 60, or 50-70.")
    if record.act is BroodAct.NOTE and not record.detail:
        raise AskedWrongError("An empty note says nothing; write a word or two.")
    if record.act is BroodAct.DONE and not record.detail:
        raise AskedWrongError("Say which to-do is done, by its key.")
    if record.act is BroodAct.STAGE and record.detail not in set(Stage):
        raise AskedWrongError(f"Write the new stage, one of {', '.join(Stage)}.")
    if record.act is BroodAct.MOVED and not record.tank:
        raise AskedWrongError("Choose the tank it was moved to.")
    return record


class BroodActing:
    """The forms of a brood's pages. A port's refusal is a ValueError for the person."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def _asked(self, by: Visitor) -> Asked:
        return Asked(by.name, self._desk.live.now_ms())

    def record(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Record what was done or seen: at once, once."""
        brood = brood_here(self._desk, request.path_params["brood"])
        if "step" in fields:
            return _stepped(brood, fields)
        asked = self._asked(by)
        record = checked(self._desk, self._record(brood, fields, asked))
        if _twice(brood, record):
            return back(fields, f"{record_words(record)}: recorded a moment ago, once.")
        self._desk.broods.record([record])
        told = f"{record_words(record)}: recorded. It can be undone below for 10 minutes."
        return back(fields, f"{told[0].upper()}{told[1:]}")

    def _record(self, brood: Brood, fields: Fields, asked: Asked) -> BroodRecord:
        zone, act = self._desk.live.room().zone, act_of(fields.get("act", ""))
        counted = fields.get("counted", "")
        if counted and counted not in set(Counted):
            raise AskedWrongError(f"{counted[:40]!r} is not counted here.")
        who = fields.get("who", "")
        tank = fields.get("tank", "").strip()
        return BroodRecord(
            id=uuid.uuid4().hex,
            brood=brood.id,
            at_ms=wall_ms(fields.get("wall", ""), zone, asked.now_ms),
            made_ms=asked.now_ms,
            act=act,
            by=asked.by,
            tank="" if tank in brood.last_tanks and act is not BroodAct.MOVED else tank,
            counted=Counted(counted) if counted else None,
            count=counted_of(fields),
            detail=fields.get("detail", "").strip()[:LONGEST],
            fields={"who": who} if who in {"female", "male", "pair"} else {},
        )

    def undo(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Take a record back, or bring back what was taken; nothing is deleted."""
        brood = brood_here(self._desk, request.path_params["brood"])
        asked = self._asked(by)
        before = self._known(brood.id, fields.get("record", ""))
        self._desk.broods.record(
            [
                BroodRecord(
                    id=uuid.uuid4().hex,
                    brood=brood.id,
                    at_ms=asked.now_ms,
                    made_ms=asked.now_ms,
                    act=BroodAct.WITHDRAWN,
                    by=asked.by,
                    replaces=before.id,
                )
            ]
        )
        what = "brought back" if before.act is BroodAct.WITHDRAWN else "taken back"
        words = "what was withdrawn" if before.act is BroodAct.WITHDRAWN else record_words(before)
        return back(fields, f"{words[0].upper()}{words[1:]}: {what}.")

    def correct(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Put a record right; what it said before stays visible."""
        brood = brood_here(self._desk, request.path_params["brood"])
        asked, zone = self._asked(by), self._desk.live.room().zone
        before = self._known(brood.id, fields.get("record", ""))
        after = replace(
            before,
            at_ms=wall_ms(fields.get("wall", ""), zone, asked.now_ms)
            if _moved(fields, before, zone)
            else before.at_ms,
            count=counted_of(fields) if "count" in fields else before.count,
            detail=fields.get("detail", before.detail).strip()[:LONGEST],
            fields=_fields_of(fields, before),
        )
        if after == before:
            return back(fields, "Nothing was different; nothing was changed.")
        new = replace(
            checked(self._desk, after),
            id=uuid.uuid4().hex,
            made_ms=asked.now_ms,
            by=asked.by,
            replaces=before.id,
        )
        self._desk.broods.record([new])
        return back(fields, f"Corrected: {record_words(new)}.")

    def _known(self, brood: str, id_: str) -> BroodRecord:
        for record in self._desk.broods.records(brood):
            if record.id == id_:
                return record
        raise NotHereError(f"Brood {brood} has no such record.")

    def start(self, _: Request, fields: Fields, by: Visitor) -> Response:
        """Begin a brood in a tank."""
        asked, zone = self._asked(by), self._desk.live.room().zone
        tank = self._desk.lookout.look().of(fields.get("tank", "")).tank
        id_ = fields.get("id", "")
        if not re.fullmatch(r"\d{4}-\d{1,6}", id_) or self._desk.broods.records(id_):
            # a form sent twice, or two forms at once: the second gets a number of its own
            running = [b for b in broods_of(self._desk.broods.records(id_)) if b.tank == tank.id]
            if running and running[0].open:
                return back({"back": f"/broods/{quote(id_)}"}, f"Brood {id_} was already begun.")
            id_ = next_id(self._desk, asked.now_ms)
        species = fields.get("species", "")
        if species and species not in {*self._desk.broods.sheets(), tank.species}:
            raise AskedWrongError(f"There is no species sheet {species[:60]!r}.")
        stage = fields.get("stage", "")
        if stage and stage not in set(Stage):
            raise AskedWrongError(f"Stage: one of {', '.join(Stage)}.")
        names = ("parents", "water", "food")
        plan = {name: fields.get(name, "").strip()[:LONGEST] for name in names}
        plan["light"] = _light(fields)
        plan |= {"species": species, "stage": stage if stage != tank.stage else ""}
        record = BroodRecord(
            id=uuid.uuid4().hex,
            brood=id_,
            at_ms=wall_ms(fields.get("wall", ""), zone, asked.now_ms),
            made_ms=asked.now_ms,
            act=BroodAct.STARTED,
            by=asked.by,
            tank=tank.id,
            fields={name: text for name, text in plan.items() if text},
        )
        self._desk.broods.record([record])
        return back({"back": f"/broods/{quote(id_)}"}, f"Brood {id_} begun in {tank.id}.")

    def end(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """One question: what happened?"""
        brood = brood_here(self._desk, request.path_params["brood"])
        asked = self._asked(by)
        outcome = fields.get("outcome", "")
        if outcome not in set(Outcome):
            raise AskedWrongError(f"What happened? One of {', '.join(Outcome)}.")
        if not brood.open:
            return back(fields, f"Brood {brood.id} had ended already.")
        record = BroodRecord(
            id=uuid.uuid4().hex,
            brood=brood.id,
            at_ms=asked.now_ms,
            made_ms=asked.now_ms,
            act=BroodAct.ENDED,
            by=asked.by,
            detail=fields.get("detail", "").strip()[:LONGEST],
            fields={"outcome": outcome},
        )
        self._desk.broods.record([record])
        return back(fields, f"Brood {brood.id} ended: {outcome.replace('-', ' ')}.")


def _fields_of(fields: Fields, before: BroodRecord) -> dict[str, str]:
    """The further fields of a record, with what the form says of them."""
    kept = dict(before.fields)
    if before.act is BroodAct.STARTED:
        kept |= {n: fields[f"plan_{n}"].strip()[:LONGEST] for n in PLANNED if f"plan_{n}" in fields}
        light_hours(kept.get("light", ""))  # refuses what are no hours, in words
    if before.act is BroodAct.ENDED and "outcome" in fields:
        if fields["outcome"] not in set(Outcome):
            raise AskedWrongError(f"What happened? One of {', '.join(Outcome)}.")
        kept["outcome"] = fields["outcome"]
    return {name: text for name, text in kept.items() if text}


def _moved(fields: Fields, before: BroodRecord, zone: str) -> bool:
    """Whether a correction names another minute; unchanged, a record keeps its seconds."""
    shown = f"{moment_of(before.at_ms).astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}"
    return fields.get("wall", "") not in {"", shown}


def _light(fields: Fields) -> str:
    """The light's hours as a plan writes them, `07:00-21:00`; empty when neither was told."""
    on, off = (fields.get(name, "").strip() for name in ("light_on", "light_off"))
    if not on and not off:
        return ""
    light_hours(f"{on}-{off}")  # refuses what is none, in words
    return f"{on}-{off}"


def _twice(brood: Brood, record: BroodRecord) -> bool:
    """Whether a wet finger has just recorded the very same."""
    return any(
        r.act is record.act
        and (r.counted, r.count, r.detail, r.tank) == (
            record.counted, record.count, record.detail, record.tank
        )
        and 0 <= record.made_ms - r.made_ms < _TWICE_MS
        and abs(record.at_ms - r.at_ms) < _TWICE_MS
        for r in brood.records
    )  # fmt: skip


def _stepped(brood: Brood, fields: Fields) -> Response:
    """One press of - or + without scripts: the page again, with another number in that box."""
    kind = fields.get("counted", "")
    if kind not in set(Counted) or not re.fullmatch(r"-?\d{1,6}", fields["step"]):
        raise AskedWrongError("That step leads nowhere.")
    now = counted_of({"count": fields.get("count", "")}) or Count(low=0, high=0)
    step = int(fields["step"])
    kept = {
        "count": kind,
        "value": str(max(now.low + step, 0)),
        "about": "on" if fields.get("about") or now.about else "",
        "to": fields.get("to", ""),
    }
    query = urlencode({name: text for name, text in kept.items() if text})
    return RedirectResponse(f"/broods/{quote(brood.id)}?{query}#count-{kind}", 303)
