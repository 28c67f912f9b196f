"""What a form about a brood says: moments, counts, acts; what says nothing is refused in words."""

import re
import uuid
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from roewatch.breeding.brood import Brood, broods_of, next_id
from roewatch.breeding.count import Count, count_of
from roewatch.breeding.light import light_hours
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome
from roewatch.room.moment import DAY_MS, MINUTE_MS, SECOND_MS, at_ms_of_iso
from roewatch.room.stage import Stage
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.axis import instants
from roewatch.views.pages import Desk
from roewatch.views.records_page import wall

UNDO_MS = 10 * MINUTE_MS
LONGEST = 300
PLANNED = ("parents", "water", "food", "light")
"""What a brood is begun with, besides species and tank, by the names of its plan."""

_TWICE_MS = 30 * SECOND_MS
_OLDEST_MS = 400 * DAY_MS
_HERE = frozenset({BroodAct.STARTED, BroodAct.ENDED, BroodAct.WITHDRAWN})


def brood_here(desk: Desk, id_: str) -> Brood:
    """One brood. Raises NotHereError for one nobody started."""
    for brood in broods_of(desk.broods.records(id_)):
        if brood.id == id_ and (brood.records or brood.superseded):
            return brood
    raise NotHereError(f"This room has no brood {id_!r}.")


def next_number(desk: Desk, now_ms: int) -> str:
    """The id the next brood gets."""
    known = {record.brood for record in desk.broods.records()}
    return next_id(known, now_ms, desk.live.room().zone)


def at_of(fields: Mapping[str, str], zone: str, now_ms: int, before: int | None = None) -> int:
    """When it happened: `time` in ISO 8601, or `wall`, the room's clock as a form writes it.

    Neither: now, or `before`. A wall clock that shows the minute of `before` keeps its seconds.
    Raises AskedWrongError for what is no time, or lies ahead.
    """
    if fields.get("time", "").strip():
        try:
            return at_past(at_ms_of_iso(fields["time"]), now_ms)
        except (ValueError, OverflowError) as fault:
            raise AskedWrongError(f"time: {fault}") from fault
    text = fields.get("wall", "").strip()
    usual = now_ms if before is None else before
    if not text or (before is not None and text == wall(before, zone)):
        return usual
    try:
        named = datetime.fromisoformat(text).replace(tzinfo=None, second=0, microsecond=0)
        at_ms = instants(named, ZoneInfo(zone))[0][0]
    except (ValueError, IndexError, OverflowError) as fault:
        raise AskedWrongError(f"When: {text[:40]!r} is no day and time.") from fault
    return at_past(at_ms, now_ms)


def id_of(fields: Mapping[str, str]) -> str:
    """The id a record was given where it was made, so that sending it twice keeps it once."""
    given = fields.get("id", "")
    if not given:
        return uuid.uuid4().hex
    if not re.fullmatch(r"[0-9a-f]{32}", given):
        raise AskedWrongError("id: 32 hexadecimal digits are needed, made anew for each record.")
    return given


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


def fields_of(fields: Fields, before: BroodRecord) -> dict[str, str]:
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


def light_of(fields: Fields) -> str:
    """The light's hours as a plan writes them, `07:00-21:00`; empty when neither was told."""
    if fields.get("light", "").strip():
        light_hours(fields["light"])
        return fields["light"].strip()
    on, off = (fields.get(name, "").strip() for name in ("light_on", "light_off"))
    if not on and not off:
        return ""
    light_hours(f"{on}-{off}")  # refuses what is none, in words
    return f"{on}-{off}"


def twice(brood: Brood, record: BroodRecord) -> BroodRecord | None:
    """The record that says the very same and was made within half a minute, if there is one."""
    said = (record.act, record.counted, record.count, record.detail, record.tank)
    for known in brood.records:
        same = (known.act, known.counted, known.count, known.detail, known.tank) == said
        if same and 0 <= record.made_ms - known.made_ms < _TWICE_MS:
            return known
    return None
