"""What a person may do to a brood, by a form or the API: start, record, withdraw, correct, end."""

import re
from dataclasses import replace

from roewatch.breeding.brood import Brood, broods_of
from roewatch.breeding.count import Counted
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome
from roewatch.room.stage import Stage
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.brood_form import (
    LONGEST,
    PLANNED,
    act_of,
    at_of,
    brood_here,
    checked,
    counted_of,
    fields_of,
    id_of,
    light_of,
    next_number,
    twice,
)
from roewatch.views.brood_words import record_words
from roewatch.views.pages import Desk
from roewatch.views.wording import begun


class SaidTwiceError(ValueError):
    """The very same was recorded within half a minute; record: what stands already."""

    def __init__(self, record: BroodRecord) -> None:
        super().__init__(f"{record_words(record)} was recorded a moment ago")
        self.record = record


class BroodDeeds:
    """Every deed takes the texts that were sent and whose they are, and returns what to tell."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def _made(self, brood: str, act: BroodAct, fields: Fields, by: str) -> BroodRecord:
        """A record of this moment, or of the one the fields name."""
        now_ms = self._desk.live.now_ms()
        return BroodRecord(
            id=id_of(fields),
            brood=brood,
            at_ms=at_of(fields, self._desk.live.room().zone, now_ms),
            made_ms=now_ms,
            act=act,
            by=by,
        )

    def start(self, fields: Fields, by: str) -> tuple[str, str]:
        """Begin a brood in a tank; returns its id and what to tell."""
        tank = self._desk.lookout.look().of(fields.get("tank", "")).tank
        id_ = fields.get("brood", "")
        if not re.fullmatch(r"\d{4}-\d{1,6}", id_) or self._desk.broods.records(id_):
            # a form sent twice, or two forms at once: the second gets a number of its own
            running = [b for b in broods_of(self._desk.broods.records(id_)) if b.tank == tank.id]
            if running and running[0].open:
                return id_, f"Brood {id_} was already begun."
            id_ = next_number(self._desk, self._desk.live.now_ms())
        species = fields.get("species", "")
        if species and species not in self._desk.broods.sheets():
            raise AskedWrongError(f"There is no species sheet {species[:60]!r}.")
        stage = fields.get("stage", "")
        if stage and stage not in set(Stage):
            raise AskedWrongError(f"Stage: one of {', '.join(Stage)}.")
        plan = {name: fields.get(name, "").strip()[:LONGEST] for name in PLANNED}
        plan |= {"light": light_of(fields), "species": species}
        # the stage it is in already is not entered again: that would set its age back to nothing
        plan |= {"stage": stage if stage != tank.stage else ""}
        record = self._made(id_, BroodAct.STARTED, fields, by)
        kept = {name: text for name, text in plan.items() if text}
        self._desk.broods.record([replace(record, tank=tank.id, fields=kept)])
        return id_, f"Brood {id_} begun in {tank.id}."

    def record(self, brood: Brood, fields: Fields, by: str) -> str:
        """Record what was done or seen. Raises SaidTwiceError unless `again` says it is meant."""
        act = act_of(fields.get("act", ""))
        counted, who = fields.get("counted", ""), fields.get("who", "")
        if counted and counted not in set(Counted):
            raise AskedWrongError(f"{counted[:40]!r} is not counted here.")
        tank = fields.get("tank", "").strip()
        record = replace(
            self._made(brood.id, act, fields, by),
            tank="" if tank in brood.last_tanks and act is not BroodAct.MOVED else tank,
            counted=Counted(counted) if counted else None,
            count=counted_of(fields),
            detail=fields.get("detail", "").strip()[:LONGEST],
            fields={"who": who} if who in {"female", "male", "pair"} else {},
        )
        checked(self._desk, record)
        same = twice(brood, record)
        if same is not None and not fields.get("id") and fields.get("again") != "yes":
            raise SaidTwiceError(same)
        self._desk.broods.record([record])
        return begun(f"{record_words(record)}: recorded. It can be undone for 10 minutes.")

    def withdraw(self, brood: Brood, id_: str, by: str) -> str:
        """Take a record back, or bring back what was taken; nothing is deleted."""
        before = self._known(brood.id, id_)
        withdrawn = self._made(brood.id, BroodAct.WITHDRAWN, {}, by)
        self._desk.broods.record([replace(withdrawn, replaces=before.id)])
        if before.act is BroodAct.WITHDRAWN:
            return "Brought back."
        return f"{begun(record_words(before))}: taken back."

    def correct(self, brood: Brood, id_: str, fields: Fields, by: str) -> str:
        """Put a record right; what it said before stays visible."""
        before = self._known(brood.id, id_)
        if before.act is BroodAct.WITHDRAWN:
            raise AskedWrongError("What was taken back is brought back, not corrected.")
        zone, now_ms = self._desk.live.room().zone, self._desk.live.now_ms()
        after = replace(
            before,
            at_ms=at_of(fields, zone, now_ms, before=before.at_ms),
            count=counted_of(fields) if "count" in fields else before.count,
            detail=fields.get("detail", before.detail).strip()[:LONGEST],
            fields=fields_of(fields, before),
        )
        if after == before:
            return "Nothing was different; nothing was changed."
        new = replace(
            checked(self._desk, after), id=id_of(fields), made_ms=now_ms, by=by, replaces=before.id
        )
        self._desk.broods.record([new])
        return f"Corrected: {record_words(new)}."

    def end(self, brood: Brood, fields: Fields, by: str) -> str:
        """One question: what happened?"""
        outcome = fields.get("outcome", "")
        if outcome not in set(Outcome):
            raise AskedWrongError(f"What happened? One of {', '.join(Outcome)}.")
        if not brood.open:
            return f"Brood {brood.id} had ended already."
        record = self._made(brood.id, BroodAct.ENDED, fields, by)
        detail = fields.get("detail", "").strip()[:LONGEST]
        self._desk.broods.record([replace(record, detail=detail, fields={"outcome": outcome})])
        return f"Brood {brood.id} ended: {outcome.replace('-', ' ')}."

    def _known(self, brood: str, id_: str) -> BroodRecord:
        for record in self._desk.broods.records(brood):
            if record.id == id_:
                return record
        raise NotHereError(f"Brood {brood} has no such record.")

    def here(self, id_: str) -> Brood:
        """The brood of that id. Raises NotHereError."""
        return brood_here(self._desk, id_)
