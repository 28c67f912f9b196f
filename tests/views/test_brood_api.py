"""Broods for scripts."""

import uuid

import pytest
from starlette.testclient import TestClient
from tests.views.reader import client_of
from tests.views.room_of_broods import Nursery, brood_in
from tests.views.room_of_glass import NOW
from tests.views.test_api import answers_as_told

from roewatch.breeding.count import Counted
from roewatch.room.moment import HOUR_MS, iso


@pytest.mark.parametrize(
    ("address", "path"),
    [
        ("/api/broods", "/api/broods"),
        ("/api/broods?state=all", "/api/broods"),
        ("/api/broods/2026-14", "/api/broods/{brood}"),
        ("/api/broods/2026-11", "/api/broods/{brood}"),
        ("/api/todos", "/api/todos"),
        ("/api/comparison?by=parents", "/api/comparison"),
    ],
)
def test_answers_are_what_the_document_says(keeper: TestClient, address: str, path: str) -> None:
    answers_as_told(keeper, address, path)


def test_a_whole_brood_is_told_by_a_script(keeper: TestClient, room: Nursery) -> None:
    begun = keeper.post("/api/broods", json={"tank": "A2", "light": "07:00-21:00"})
    assert begun.is_success
    one = "/api/broods/2026-16"
    at = iso(NOW - HOUR_MS)
    assert keeper.post(f"{one}/records", json={"act": "spawned", "count": "50-70", "time": at})
    brood = brood_in(room[3], "2026-16")
    assert (brood.spawned_ms, brood.counts[Counted.EGGS].text) == (NOW - HOUR_MS, "50-70")
    record = next(r["id"] for r in keeper.get(one).json()["records"] if r["act"] == "spawned")
    assert keeper.put(f"{one}/records/{record}", json={"count": "62"}).is_success
    assert brood_in(room[3], "2026-16").counts[Counted.EGGS].text == "62"
    assert keeper.post(f"{one}/end", json={"outcome": "lost", "detail": "eaten"}).is_success
    assert keeper.get("/api/broods").json()[-1]["brood"] != "2026-16"
    shown = keeper.get("/api/broods?state=all").json()[-1]
    assert (shown["brood"], shown["outcome"], shown["lost_to"]) == ("2026-16", "lost", "eaten")


def test_a_record_sent_twice_with_its_id_is_kept_once(keeper: TestClient, room: Nursery) -> None:
    body = {"act": "fed", "id": uuid.uuid4().hex, "time": iso(NOW - HOUR_MS)}
    for _ in range(2):
        assert keeper.post("/api/broods/2026-14/records", json=body).is_success
    assert sum(r.act == "fed" for r in room[3].records("2026-14")) == 1


def test_a_record_is_withdrawn_and_comes_back(keeper: TestClient, room: Nursery) -> None:
    keeper.post("/api/broods/2026-14/records", json={"act": "hatched"})
    whole = keeper.get("/api/broods/2026-14").json()
    record = next(r["id"] for r in whole["records"] if r["act"] == "hatched")
    assert keeper.delete(f"/api/broods/2026-14/records/{record}").is_success
    assert keeper.get("/api/broods/2026-14").json()["hatched"] is None


@pytest.mark.parametrize(
    ("address", "body"),
    [
        ("/api/broods", {"tank": "Z9"}),
        ("/api/broods", {"tank": "A2", "species": "nessie"}),
        ("/api/broods", {"tank": "A2", "light": "noon"}),
        ("/api/broods/2026-14/records", {"act": "dancing"}),
        ("/api/broods/2026-14/records", {"act": "fed", "time": iso(NOW + HOUR_MS)}),
        ("/api/broods/2026-14/records", {"act": "fed", "id": "mine"}),
        ("/api/broods/2026-14/records", {"act": "fed", "colour": "red"}),
        ("/api/broods/2026-14/records", {"act": "fed", "detail": 7}),
        ("/api/broods/2026-14/end", {"outcome": "well"}),
    ],
)
def test_what_cannot_be_done_is_said_and_not_done(
    keeper: TestClient, room: Nursery, address: str, body: dict[str, object]
) -> None:
    kept = len(room[3].kept)
    answer = keeper.post(address, json=body)
    assert answer.status_code in {400, 404}
    assert answer.json()["error"]
    assert len(room[3].kept) == kept


def test_who_may_only_look_may_read_and_do_nothing(room: Nursery) -> None:
    with client_of(room, host="192.168.1.20") as keeper:
        assert keeper.get("/api/broods").status_code == 200
        assert keeper.post("/api/broods/2026-14/records", json={"act": "fed"}).status_code == 403
