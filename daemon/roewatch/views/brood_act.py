"""What a person does to a brood on its page: record, undo, correct, start, end."""

import re
import uuid
from dataclasses import dataclass, replace
from urllib.parse import quote, urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from roewatch.breeding.brood import Brood, broods_of
from roewatch.breeding.count import Count, Counted
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome
from roewatch.room.stage import Stage
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.brood_form import (
    LONGEST,
    act_of,
    brood_here,
    checked,
    counted_of,
    fields_of,
    light_of,
    moved,
    next_id,
    twice,
    wall_ms,
)
from roewatch.views.brood_words import record_words
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks for a deed, and when."""

    by: str
    now_ms: int


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
        if twice(brood, record):
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
            if moved(fields, before, zone)
            else before.at_ms,
            count=counted_of(fields) if "count" in fields else before.count,
            detail=fields.get("detail", before.detail).strip()[:LONGEST],
            fields=fields_of(fields, before),
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
        plan["light"] = light_of(fields)
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
