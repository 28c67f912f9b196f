"""The API: what the pages show and do, as JSON, described by the OpenAPI document at `/api`."""

import json
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from roewatch.alarms.performance import performance_data
from roewatch.room.journal import Amendment, Deed, JournalEntry
from roewatch.room.moment import DAY_MS, at_ms_of_iso, iso
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM
from roewatch.views.alarm_page import MOST_SHELF_MS
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.pages import Desk
from roewatch.views.performance_page import days_of, performance_over
from roewatch.views.records_page import moved
from roewatch.views.show import quantity_of
from roewatch.views.tank_page import outlooks, stage_day
from roewatch.views.visitor import Visitor
from roewatch.views.week import probes_of
from roewatch.views.wire import (
    alarm_json,
    change_json,
    entry_json,
    learned_json,
    notice_json,
    outlook_json,
    refused_json,
    standing_json,
)

_MOST_COLUMNS = 4_000
_MOST_READINGS_MS = 400 * DAY_MS
_MOST_ALARMS = 1_000
_MOST_TEXT = 300


def document() -> Any:
    """The OpenAPI document."""
    return json.loads((files("roewatch.views") / "static" / "openapi.json").read_text("utf-8"))


def _moment(query: Mapping[str, str], name: str, default_ms: int) -> int:
    """A moment asked for by a query, ISO 8601 with a zone."""
    if name not in query:
        return default_ms
    try:
        return at_ms_of_iso(query[name].replace(" ", "+"))  # a + in an address reads as a space
    except (ValueError, OverflowError) as fault:
        raise AskedWrongError(f"{name}: {fault}") from fault


def _count(query: Mapping[str, str], name: str, default: int, most: int) -> int:
    text = query.get(name, str(default))
    if not (text.isascii() and text.isdigit()) or len(text) > 9 or int(text) > most:
        raise AskedWrongError(f"{name}: {text!r} is not a whole number from 0 to {most}")
    return int(text)


def _text(body: Mapping[str, object], name: str, *, needed: bool = True) -> str:
    value = body.get(name, "")
    if not isinstance(value, str) or len(value) > _MOST_TEXT or (needed and not value.strip()):
        need = "needed" if needed else "optional"
        raise AskedWrongError(f"{name}: {need}, a text of at most {_MOST_TEXT} characters")
    return value.strip()


class Api:
    """Reads and deeds for scripts. Whoever may look may read; deeds ask for the same right."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    # reads

    def about(self, _: Request) -> Response:
        """The OpenAPI document."""
        return JSONResponse(document(), media_type="application/openapi+json")

    def room(self, _: Request) -> Response:
        """Every tank as it stands."""
        sight = self._desk.lookout.look()
        return JSONResponse(
            {
                "room": sight.room.id,
                "name": sight.room.name,
                "zone": sight.room.zone,
                "time": iso(sight.now_ms),
                "link": {"word": sight.link.word, "since": iso(sight.link.since_ms)},
                "tanks": [standing_json(standing) for standing in sight.standings],
            }
        )

    def tank(self, request: Request) -> Response:
        """One tank as it stands."""
        sight = self._desk.lookout.look()
        standing = sight.of(request.path_params["tank"])
        tank, expected = standing.tank, outlooks(self._desk, sight, standing)
        return JSONResponse(
            standing_json(standing)
            | {
                "heater_watts": tank.heater_watts,
                "stage_day": stage_day(self._desk, sight, tank.id),
                "learned": learned_json(tank, self._desk.live.learned(tank.id)),
                "outlooks": [outlook_json(probe, told) for probe, told in expected.items()],
            }
        )

    def refused(self, _: Request) -> Response:
        """What spoke and could not be read, topic by topic."""
        return JSONResponse([refused_json(one) for one in self._desk.live.refused()])

    def readings(self, request: Request) -> Response:
        """Readings of one quantity of one tank, whole or thinned."""
        sight = self._desk.lookout.look()
        tank_id = sight.of(request.path_params["tank"]).tank.id
        quantity = quantity_of(request.path_params["quantity"])
        query = request.query_params
        to_ms = _moment(query, "to", sight.now_ms + 1)
        from_ms = _moment(query, "from", to_ms - DAY_MS)
        if not 0 <= from_ms < to_ms <= from_ms + _MOST_READINGS_MS:
            raise AskedWrongError("from must be before to, by at most 400 days")
        columns = _count(query, "columns", 600, _MOST_COLUMNS)
        if columns == 0 and to_ms - from_ms > 8 * DAY_MS:
            raise AskedWrongError("columns: every reading only for 8 days or less; thin the rest")
        found = [
            self._desk.records.series(probe, from_ms, to_ms, columns)
            for probe in probes_of(sight.room, tank_id, quantity)
        ]
        return JSONResponse(
            [
                {
                    "probe": series.probe,
                    "quantity": series.quantity,
                    "thinned": series.thinned,
                    "time_ms": list(series.at_ms),
                    # JSON has no word for a number that is none
                    "value": [v if v == v else None for v in series.value],  # noqa: PLR0124
                    "flag": [int(flag) for flag in series.flag],
                }
                for series in found
            ]
        )

    def alarms(self, request: Request) -> Response:
        """Alarms, the newest first."""
        query = request.query_params
        state = query.get("state", "open")
        if state not in {"open", "all"}:
            raise AskedWrongError(f"state: {state!r} is neither open nor all")
        tank_id = query.get("tank")
        if tank_id is not None and tank_id != ROOM:
            self._desk.lookout.look().of(tank_id)
        now_ms = self._desk.live.now_ms()
        found = self._desk.records.alarms(
            open_only=state == "open",
            tank=tank_id,
            from_ms=_moment(query, "from", 0),
            to_ms=_moment(query, "to", now_ms + 1),
            limit=_count(query, "limit", 100, _MOST_ALARMS),
        )
        return JSONResponse([alarm_json(alarm) for alarm in found])

    def alarm(self, request: Request) -> Response:
        """One alarm with its life and who was told."""
        number = request.path_params["number"]
        alarm = self._desk.records.alarm(number) if number < 2**63 else None
        if alarm is None:
            raise NotHereError(f"There is no alarm {number}.")
        return JSONResponse(
            alarm_json(alarm)
            | {
                "changes": [change_json(c) for c in self._desk.records.changes(number)],
                "told": [notice_json(*told) for told in self._desk.records.told(number)],
            }
        )

    def performance(self, request: Request) -> Response:
        """How well the alarms served over the last days."""
        sight = self._desk.lookout.look()
        days = days_of(request.query_params.get("days", "30"))
        found = performance_over(
            self._desk.records, sight.now_ms - days * DAY_MS, sight.now_ms, sight.room.zone
        )
        return JSONResponse(performance_data(found))

    def journal(self, request: Request) -> Response:
        """What was done, in order."""
        query = request.query_params
        now_ms = self._desk.live.now_ms()
        to_ms = _moment(query, "to", now_ms + 1)
        from_ms = _moment(query, "from", to_ms - 30 * DAY_MS)
        tank_id = query.get("tank")
        if tank_id is not None:
            self._desk.lookout.look().of(tank_id)
        found = self._desk.records.numbered_journal(tank_id, from_ms, to_ms)
        return JSONResponse([entry_json(number, entry) for number, entry in found])

    # deeds

    def acknowledge(self, number: int, _: Mapping[str, object], by: Visitor) -> None:
        """Somebody has seen an alarm."""
        self._desk.deeds.acknowledge(number, by.name)

    def shelve(self, number: int, body: Mapping[str, object], by: Visitor) -> None:
        """Silence an alarm for a while."""
        now_ms = self._desk.live.now_ms()
        until_ms = _moment({"until": _text(body, "until")}, "until", 0)
        if not now_ms < until_ms <= now_ms + MOST_SHELF_MS:
            raise AskedWrongError("until: must lie within the next 24 hours")
        self._desk.deeds.shelve(number, until_ms, _text(body, "why"), by.name)

    def unshelve(self, number: int, _: Mapping[str, object], by: Visitor) -> None:
        """End an alarm's silence."""
        self._desk.deeds.unshelve(number, by.name)

    def out_of_service(self, number: int, body: Mapping[str, object], by: Visitor) -> None:
        """Silence an alarm until it is returned to service."""
        self._desk.deeds.out_of_service(number, _text(body, "why"), by.name)

    def return_to_service(self, number: int, _: Mapping[str, object], by: Visitor) -> None:
        """End that."""
        self._desk.deeds.return_to_service(number, by.name)

    def reset(self, number: int, _: Mapping[str, object], by: Visitor) -> None:
        """Close a latched alarm, after looking."""
        self._desk.deeds.reset(number, by.name)

    def enter(self, _: int, body: Mapping[str, object], __: Visitor) -> None:
        """Record what was done to a tank."""
        tank_id = self._desk.lookout.look().of(_text(body, "tank")).tank.id
        written = _text(body, "deed")
        if written not in set(Deed):
            raise AskedWrongError(f"deed: {written!r} is none; there are {', '.join(Deed)}")
        deed, detail = Deed(written), _text(body, "detail", needed=False)
        if deed is Deed.STAGE and detail not in set(Stage):
            raise AskedWrongError(f"detail: the new stage, one of {', '.join(Stage)}")
        now_ms = self._desk.live.now_ms()
        times = {name: _text(body, name) for name in ("time", "until") if name in body}
        at_ms = _moment(times, "time", now_ms)
        until_ms = _moment(times, "until", at_ms)
        if not now_ms - _MOST_READINGS_MS <= at_ms <= min(now_ms, until_ms) <= until_ms:
            raise AskedWrongError("time: must be past, within 400 days, and not after until")
        entry = JournalEntry(
            at_ms=at_ms,
            tank=tank_id,
            deed=deed,
            until_ms=until_ms if "until" in times else None,
            detail=detail,
        )
        self._desk.deeds.enter(entry)

    def correct(self, number: int, body: Mapping[str, object], by: Visitor) -> None:
        """Put a record right: another moment, another detail."""
        before = self._desk.records.entry(number)
        if before is None:
            raise NotHereError(f"There is no record {number}.")
        times = {"time": _text(body, "time")} if "time" in body else {}
        at_ms = _moment(times, "time", before.at_ms)
        now_ms = self._desk.live.now_ms()
        if not now_ms - _MOST_READINGS_MS <= at_ms <= now_ms:
            raise AskedWrongError("time: must be past, within 400 days")
        detail = _text(body, "detail", needed=False) if "detail" in body else before.detail
        self._amend(number, moved(before, at_ms, detail), by)

    def withdraw(self, number: int, _: Mapping[str, object], by: Visitor) -> None:
        """Take a record back."""
        if self._desk.records.entry(number) is None:
            raise NotHereError(f"There is no record {number}.")
        self._amend(number, None, by)

    def _amend(self, number: int, entry: JournalEntry | None, by: Visitor) -> None:
        at_ms = self._desk.live.now_ms()
        self._desk.deeds.amend(Amendment(number=number, entry=entry, at_ms=at_ms, by=by.name))
