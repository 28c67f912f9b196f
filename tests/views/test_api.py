"""The API: what the pages show and do, for scripts."""

import json
import re
from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Glass
from tests.views.room_of_glass import NOW, PAST
from tests.views.test_door import ACCESS, TOKEN

from roewatch.room.journal import Deed
from roewatch.room.moment import HOUR_MS, iso
from roewatch.views.api import document
from roewatch.views.app import app_of


def fits(schema: dict[str, Any], value: object, where: str = "") -> None:
    """A small judge of the part of JSON Schema our document uses."""
    if "$ref" in schema:
        schema = document()["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]]
    if "anyOf" in schema:
        assert any(_fits(part, value) for part in schema["anyOf"]), (where, value)
    for part in schema.get("allOf", ()):
        fits(part, value, where)
    if isinstance(schema.get("type"), list):
        kinds_of = [schema | {"type": kind} for kind in schema["type"]]
        assert any(_fits(part, value) for part in kinds_of), (where, value)
        return
    kinds = {"object": dict, "array": list, "string": str, "integer": int, "boolean": bool}
    if schema.get("type") in kinds:
        assert isinstance(value, kinds[schema["type"]]), (where, value)
    assert value in schema.get("enum", [value]), (where, value)
    assert value == schema.get("const", value), (where, value)
    if schema.get("type") == "number":
        assert isinstance(value, int | float), (where, value)
    if isinstance(value, dict):
        for name in schema.get("required", ()):
            assert name in value, (where, name)
        for name, part in schema.get("properties", {}).items():
            if name in value:
                fits(part, value[name], f"{where}.{name}")
    if isinstance(value, list) and "items" in schema:
        for one in value:
            fits(schema["items"], one, f"{where}[]")


def _fits(schema: dict[str, Any], value: object) -> bool:
    if schema.get("type") == "null":
        return value is None
    try:
        fits(schema, value)
    except AssertionError:
        return False
    return True


def test_the_document_names_every_address_and_no_other(glass: Glass) -> None:
    records, live, deeds = glass
    app: Starlette = app_of(records, live, deeds, settings=WebPlace())
    served = {
        (re.sub(r":\w+}", "}", route.path), method.lower())
        for route in app.routes
        if isinstance(route, Route) and route.path.startswith("/api")
        for method in route.methods or ()
        if method != "HEAD"
    }
    paths = document()["paths"]
    assert served == {(path, method) for path in paths for method in paths[path]}


@pytest.mark.parametrize(
    ("address", "path"),
    [
        ("/api/room", "/api/room"),
        ("/api/tanks/A1", "/api/tanks/{tank}"),
        ("/api/tanks/A1/ph?columns=50", "/api/tanks/{tank}/{quantity}"),
        ("/api/tanks/A1/ph?columns=0", "/api/tanks/{tank}/{quantity}"),
        ("/api/alarms", "/api/alarms"),
        ("/api/alarms?state=all&tank=B2&limit=1", "/api/alarms"),
        ("/api/alarms/42", "/api/alarms/{number}"),
        ("/api/journal?tank=A1", "/api/journal"),
    ],
)
def test_answers_are_what_the_document_says(client: TestClient, address: str, path: str) -> None:
    answers_as_told(client, address, path)


def answers_as_told(client: TestClient, address: str, path: str) -> None:
    """The answer is one of the kind the document describes, and not an empty one."""
    answer = client.get(address)
    assert answer.status_code == 200
    content = document()["paths"][path]["get"]["responses"]["200"]["content"]
    fits(content["application/json"]["schema"], answer.json(), path)
    assert answer.json()


def test_deeds_are_done_as_on_the_pages(client: TestClient, glass: Glass) -> None:
    until = iso(NOW + HOUR_MS)
    assert client.post("/api/alarms/42/acknowledge", json={}).json() == {"done": True}
    assert client.post(
        "/api/alarms/41/shelve", json={"until": until, "why": "new heater"}
    ).is_success
    assert client.post("/api/alarms/41/unshelve", json={}).is_success
    body = {"tank": "A2", "deed": "stage", "detail": "spawning", "time": iso(NOW - HOUR_MS)}
    assert client.post("/api/journal", json=body).is_success
    done = glass[2].done
    assert [d[0] for d in done] == ["acknowledge", "shelve", "unshelve", "enter"]
    assert done[1] == ("shelve", 41, NOW + HOUR_MS, "new heater", "somebody at this computer")
    entry = glass[0].entries[-1]
    assert (entry.deed, entry.detail, entry.at_ms) == (Deed.STAGE, "spawning", NOW - HOUR_MS)


def test_a_record_is_put_right_and_withdrawn_by_its_number(
    client: TestClient, glass: Glass
) -> None:
    first = client.get("/api/journal?tank=A1").json()[-1]
    address = f"/api/journal/{first['number']}"
    assert client.put(address, json={"detail": "30 %"}).json() == {"done": True}
    again = next(e for e in client.get("/api/journal").json() if e["number"] == first["number"])
    assert again == first | {"detail": "30 %"}
    assert client.put(address, json={"time": iso(NOW + HOUR_MS)}).status_code == 400
    assert client.delete(address).json() == {"done": True}
    assert client.delete(address).status_code == 404
    assert [a.before.detail for a in glass[0].kept_amended] == [first["detail"], "30 %"]


@pytest.mark.parametrize(
    ("address", "body"),
    [
        ("/api/alarms/41/shelve", {"until": iso(NOW + 25 * HOUR_MS), "why": "too long"}),
        ("/api/alarms/41/shelve", {"until": iso(NOW - HOUR_MS), "why": "past"}),
        ("/api/alarms/41/shelve", {"until": "tomorrow", "why": "x"}),
        ("/api/alarms/41/shelve", {"until": iso(NOW + HOUR_MS)}),
        ("/api/alarms/41/acknowledge", {}),  # already acknowledged
        ("/api/journal", {"tank": "A1", "deed": "stage", "detail": "dancing"}),
        ("/api/journal", {"tank": "A1", "deed": "note", "detail": 7}),
        ("/api/journal", {"tank": "A1", "deed": "note", "time": iso(NOW + HOUR_MS)}),
        ("/api/journal", [1, 2]),
    ],
)
def test_what_cannot_be_done_is_said_and_not_done(
    client: TestClient, glass: Glass, address: str, body: object
) -> None:
    answer = client.post(address, json=body)
    assert answer.status_code == 400
    assert answer.json()["error"]
    assert glass[2].done == []


def test_a_form_of_another_site_cannot_speak_to_it(client: TestClient, glass: Glass) -> None:
    plain = {"content-type": "text/plain"}
    assert client.post("/api/alarms/42/acknowledge", content="{}", headers=plain).status_code == 415
    form = client.post("/api/alarms/42/acknowledge", data={"a": "b"})
    assert form.status_code == 415
    other = client.post(
        "/api/alarms/42/acknowledge", json={}, headers={"origin": "http://elsewhere.example"}
    )
    assert other.status_code == 403
    assert glass[2].done == []


def test_a_token_reads_and_does_no_more_than_its_role(glass: Glass) -> None:
    records, live, deeds = glass
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, access=ACCESS)
    bearer = {"authorization": f"Bearer {TOKEN}"}
    with TestClient(app, base_url=BASE, client=("192.168.1.20", 5)) as client:
        assert client.get("/api/room").status_code == 401
        assert client.get("/api/room", headers=bearer).status_code == 200
        refused = client.post("/api/alarms/42/acknowledge", json={}, headers=bearer)
        assert refused.status_code == 403
    assert deeds.done == []


odd = st.one_of(
    st.text(st.characters(codec="utf-8"), max_size=20),
    st.sampled_from(["", "0", "-1", "1e9", "9" * 30, "٣", "A1", "ph", "room", "2026-11-12T00:00Z"]),
)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_no_question_however_odd_breaks_it(client: TestClient, data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(sorted(set(document()["paths"]) - {"/api/live"})))
    methods = document()["paths"][path]
    method = data.draw(st.sampled_from(sorted(methods)))
    address = path
    for name in re.findall(r"{(\w+)}", path):
        part = data.draw(odd)
        address = address.replace(f"{{{name}}}", quote(part, safe="") or "x")
    names = [p["name"] for p in methods[method].get("parameters", []) if p["in"] == "query"]
    query = {name: data.draw(odd) for name in names if data.draw(st.booleans())}
    body = data.draw(
        st.recursive(
            st.none() | st.integers() | st.text(max_size=5),
            lambda kids: (
                st.lists(kids, max_size=2)
                | st.dictionaries(
                    st.sampled_from(["tank", "deed", "detail", "time", "until", "why", "x"]),
                    kids | odd,
                    max_size=4,
                )
            ),
            max_leaves=6,
        )
    )
    content = json.dumps(body) if method == "post" else None
    kind = {"content-type": "application/json"}
    answer = client.request(method, address, params=query, content=content, headers=kind)
    assert answer.status_code < 500, answer.text
