"""Whatever a page does, the API does: each form of a page stands beside the operation it equals."""

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape

import pytest
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, client_of, words
from tests.views.room_of_broods import nursery
from tests.views.room_of_glass import PAST, usual
from tests.views.test_api import fits
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.room.moment import HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.window import RateLimit
from roewatch.views.api import document
from roewatch.views.app import app_of
from roewatch.views.ports import RefusedView

ACTS = {
    "/alarms/{number}/acknowledge": "POST /api/alarms/{number}/acknowledge",
    "/alarms/{number}/shelve": "POST /api/alarms/{number}/shelve",
    "/alarms/{number}/unshelve": "POST /api/alarms/{number}/unshelve",
    "/alarms/{number}/out-of-service": "POST /api/alarms/{number}/out-of-service",
    "/alarms/{number}/return": "POST /api/alarms/{number}/return",
    "/alarms/{number}/reset": "POST /api/alarms/{number}/reset",
    "/records": "POST /api/journal",
    "/records/{number}": "PUT /api/journal/{number}",
    "/records/{number}/withdraw": "DELETE /api/journal/{number}",
    "/broods": "POST /api/broods",
    "/broods/{brood}/records": "POST /api/broods/{brood}/records",
    "/broods/{brood}/undo": "DELETE /api/broods/{brood}/records/{record}",
    "/broods/{brood}/correct": "PUT /api/broods/{brood}/records/{record}",
    "/broods/{brood}/end": "POST /api/broods/{brood}/end",
    "/water/ramp": "POST /api/ramps",
    "/water/ramp/end": "DELETE /api/plans/{tank}",
    "/water/calibrate": "POST /api/probes/{probe}/calibration",
    "/water/calibrate/begin": "POST /api/probes/{probe}/calibration/begin",
    "/setup/broker": "PUT /api/setup/broker",
    "/setup/listen": "POST /api/setup/listen",
    "/setup/rack": "POST /api/racks",
    "/setup/reload": "POST /api/setup/reload",
    "/setup/tie": "POST /api/probes",
    "/setup/tank": "PUT /api/tanks/{tank}/stock",
    "/setup/test": "POST /api/setup/test",
    "/place": "PUT /api/tanks/{tank}/place",
    "/contacts": "POST /api/contacts",
    "/contacts/change": "PUT /api/contacts/{contact}",
    "/contacts/remove": "DELETE /api/contacts/{contact}",
    "/contacts/sooner": "POST /api/contacts/{contact}/sooner",
    "/contacts/patience": "PUT /api/telling",
    "/contacts/ways": "POST /api/contacts/{contact}/ways",
    "/contacts/ways/change": "PUT /api/contacts/{contact}/ways/{way}",
    "/contacts/ways/remove": "DELETE /api/contacts/{contact}/ways/{way}",
}
"""By the address a form is sent to, the operation that does the same."""

OF_THE_BROWSER = {
    "/theme": "in which light this browser shows the pages",
    "/units": "in which units this browser shows the pages; the API speaks the kept ones",
    "/enter": "a person's log-in; a program has its token",
    "/leave": "its end",
    "/acknowledge/{token}": "the link of a message, which is its own proof",
}
"""Forms that are no deed upon the room."""

READS = {
    "/": "GET /api/room",
    "/tank/{tank}": "GET /api/tanks/{tank}",
    "/tank/{tank}/{quantity}.svg": "GET /api/tanks/{tank}/{quantity}",
    "/tank/{tank}/{quantity}.png": "GET /api/tanks/{tank}/{quantity}",
    "/alarms": "GET /api/alarms",
    "/alarms/performance": "GET /api/performance",
    "/alarms/{number}": "GET /api/alarms/{number}",
    "/water": "POST /api/blend",
    "/water/ramp": "POST /api/ramps/preview",
    "/water/card": "POST /api/ramps/preview",
    "/water/calibrate": "GET /api/probes/{probe}",
    "/records": "GET /api/journal",
    "/records/{number}": "GET /api/journal",
    "/broods": "GET /api/broods",
    "/broods/compare": "GET /api/comparison",
    "/broods/new": "GET /api/broods",
    "/broods/{brood}": "GET /api/broods/{brood}",
    "/broods/{brood}/report": "GET /api/broods/{brood}",
    "/broods/{brood}/report.pdf": "GET /api/broods/{brood}",
    "/broods/{brood}/sheet": "GET /api/broods/{brood}",
    "/sitter": "GET /api/todos",
    "/setup": "GET /api/setup",
    "/move": "GET /api/room",
    "/contacts": "GET /api/contacts",
    "/find": "GET /api/room",
}
"""By page, where a script finds what it shows."""

BESIDE = {"GET /api/refused": "/alarms"}
"""What a page shows besides, by an operation of its own."""

FOR_PROGRAMS = {"/metrics", "/healthz", "/static/{name}", "/enter", "/acknowledge/{token}"}


def app() -> Starlette:
    records, live, deeds, broods = nursery()
    return app_of(
        records, live, deeds, settings=WebPlace(), past=PAST, broods=broods,
        workshop=GlassWorkshop(),
    )  # fmt: skip


def served(method: str) -> Iterator[str]:
    for route in app().routes:
        if isinstance(route, Route) and method in (route.methods or ()):
            yield re.sub(r":\w+}", "}", route.path)


def operations() -> set[str]:
    paths = document()["paths"]
    return {f"{method.upper()} {path}" for path in paths for method in paths[path]}


def test_every_form_of_a_page_has_its_operation() -> None:
    forms = {path for path in served("POST") if not path.startswith("/api")}
    assert forms == ACTS.keys() | OF_THE_BROWSER.keys()


def test_every_page_has_an_operation_that_tells_what_it_shows() -> None:
    pages = {path for path in served("GET") if not path.startswith(("/api", "/calendar"))}
    assert pages - FOR_PROGRAMS == READS.keys()


@pytest.mark.parametrize("operation", sorted({*ACTS.values(), *READS.values(), *BESIDE}))
def test_an_operation_a_page_stands_beside_is_in_the_document(operation: str) -> None:
    assert operation in operations()


def test_every_deed_of_the_api_is_one_of_a_page() -> None:
    questions = {"POST /api/blend", "POST /api/ramps/preview"}
    deeds = {operation for operation in operations() if not operation.startswith("GET ")}
    assert deeds - questions == set(ACTS.values())


def test_what_a_tank_page_says_of_its_tank_the_operation_says_as_well() -> None:
    with TestClient(app(), base_url=BASE, client=("127.0.0.1", 1)) as client:
        for tank in ("A1", "A4", "B2"):
            page, whole = client.get(f"/tank/{tank}").text, client.get(f"/api/tanks/{tank}").json()
            shown = words(unescape(page))
            day, learned = whole["stage_day"], whole["learned"]
            assert (f", day {day}" in shown) == (day is not None)
            assert (words(learned["text"]) if learned else "") in shown
            told = {one["probe"]: one["text"] for one in whole["outlooks"]}
            loud = [m for m in whole["probes"] if m["low"] is not None and m["state"] != "silent"]
            assert loud
            for measured in loud:
                assert told[measured["probe"]] in shown
        assert "Cools 1\u202f°C in 70 min, heater at 38\u00a0%" in client.get("/tank/A1").text


def test_a_rate_limit_the_page_shows_stands_in_the_answer() -> None:
    glass = usual()
    room = glass[1].kept_room
    limit = RateLimit(span_ms=HOUR_MS, rise=1.0, fall=0.5)
    tanks = [replace(t, rates={Quantity.TEMPERATURE: (limit,)}) for t in room.tanks]
    glass[1].kept_room = replace(room, tanks=tuple(tanks))
    with client_of(glass) as client:
        assert "an hour (limit 0.5\u202f°C in 1 h)." in client.get("/tank/A1").text, "it falls"
        warmth = client.get("/api/tanks/A1").json()["probes"][0]
        assert warmth["limits"] == [{"rise": 1.0, "fall": 0.5, "within_s": 3600.0}]


def test_what_could_not_be_read_stands_on_the_alarm_page_and_in_the_api() -> None:
    records, live, deeds, broods = nursery()
    live.not_read = [RefusedView(topic="room/odd", count=3, example="'x'", why="not a number")]
    served_app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, broods=broods)
    with TestClient(served_app, base_url=BASE, client=("127.0.0.1", 1)) as client:
        assert client.get("/api/refused").json() == [
            {"topic": "room/odd", "count": 3, "why": "not a number", "example": "'x'"}
        ]
        assert "room/odd" in client.get("/alarms").text


@pytest.mark.parametrize("name", ["Learned", "Outlook", "Refused"])
def test_the_example_of_an_answer_is_one(name: str) -> None:
    schema = document()["components"]["schemas"][name]
    fits(schema, schema["example"], name)
