"""Errands about broods: what the commands ask of the running daemon."""

import uuid
from collections.abc import Mapping
from typing import Any

from roewatch.breeding.brood import next_id
from roewatch.breeding.record import BroodAct, BroodRecord, record_of, written
from roewatch.room.tank import Room
from roewatch.service.broods import Broods
from roewatch.service.clock import Clock
from roewatch.service.control import Errand
from roewatch.service.watch import Watch
from roewatch.views.calendar import calendar_text

Asked = Mapping[str, Any]


def brood_errands(watch: Watch, broods: Broods, clock: Clock) -> dict[str, Errand]:
    """Every errand by name. Each refuses with ValueError."""

    def record(asked: Asked) -> list[dict[str, object]]:
        said = asked.get("records")
        if not isinstance(said, list) or not said:
            raise ValueError("records: a list of a brood's records is needed")
        records = [_whole(one, broods, watch.room, clock.now_ms()) for one in said]
        broods.record(records)
        return [written(one) for one in records]

    def calendar(_asked: Asked) -> str:
        events = broods.calendar(clock.now_ms())
        return calendar_text(events.values(), name=f"Broods of {watch.room.name}")

    return {"record": record, "calendar": calendar}


def _whole(said: object, broods: Broods, room: Room, now_ms: int) -> BroodRecord:
    """The record; what was left out is filled in: its id, its times, a new brood's number."""
    if not isinstance(said, Mapping):
        raise ValueError("a brood's record is an object")  # noqa: TRY004  # told to a person
    filled = {"id": uuid.uuid4().hex, "at_ms": now_ms, "made_ms": now_ms, **said}
    if filled.get("act") == BroodAct.STARTED and not filled.get("brood"):
        known = {record.brood for record in broods.records()}
        filled["brood"] = next_id(known, now_ms, room.zone)
    return record_of(filled)
