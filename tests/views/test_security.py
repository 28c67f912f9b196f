"""What a stranger may try: forged forms, paths, names with markup in them, guesses, weak tokens."""

import hashlib
from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Forms
from tests.views.room_of_glass import NOW, PAST, usual
from tests.views.test_api_examples import QUESTIONS
from tests.views.test_door import ACCESS, SECRET, log_in
from tests.views.workshop_of_glass import GlassWorkshop, heard

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.quantity import Quantity
from roewatch.views.app import app_of
from roewatch.views.ports import RefusedView
from roewatch.views.setup_ports import HeardWords, Listening
from roewatch.views.visitor import Program, Role

EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"
TOKENS = {role: f"a-long-random-token-of-a-{role}" for role in Role}
PROGRAMS = tuple(
    Program(name=f"{role} script", role=role, digest=hashlib.sha256(token.encode()).hexdigest())
    for role, token in TOKENS.items()
)
FILLED = {
    "number": "42", "tank": "A1", "quantity": "ph", "token": "x", "name": "room.css",
    "id": "2026-1", "brood": "2026-1",
}  # fmt: skip


def app(workshop: GlassWorkshop | None = None) -> Starlette:
    return app_of(
        *usual(),
        settings=WebPlace(),
        past=PAST,
        access=replace(ACCESS, programs=PROGRAMS),
        workshop=workshop or GlassWorkshop(),
    )


@pytest.fixture
def client() -> Iterator[TestClient]:
    with TestClient(app(), base_url=BASE, client=("192.168.1.20", 50000)) as client:
        yield client


def changing() -> list[tuple[str, str]]:
    """Every address that changes something, its parts filled in."""
    found = []
    for route in app().routes:
        assert isinstance(route, Route)
        path = route.path
        for part in route.param_convertors:
            value = FILLED.get(part, "1")
            path = path.replace(f"{{{part}}}", value).replace(f"{{{part}:int}}", value)
        found += [(method, path) for method in route.methods or () if method not in {"GET", "HEAD"}]
    return found


def test_there_are_many_of_them() -> None:
    assert len(changing()) > 30


@pytest.mark.parametrize(("method", "path"), changing(), ids=str)
def test_no_form_of_another_site_and_none_without_our_seal_changes_anything(
    client: TestClient, method: str, path: str
) -> None:
    log_in(client)
    fields = {"tank": "A1", "deed": "note", "detail": "x", "token": "forged", "theme": "day"}
    other = {"origin": "http://evil.example"}
    assert client.request(method, path, data=fields, headers=other).status_code == 403
    cross = {"sec-fetch-site": "cross-site"}
    assert client.request(method, path, data=fields, headers=cross).status_code == 403
    # there the link itself is the proof, and no form can send the other
    if not path.startswith("/acknowledge/") and method != "DELETE":
        answer = client.request(method, path, data=fields, follow_redirects=False)
        assert answer.status_code in {403, 404, 415}, path


@pytest.mark.parametrize(("method", "path"), changing(), ids=str)
def test_a_token_that_may_look_may_change_nothing(
    client: TestClient, method: str, path: str
) -> None:
    guest = {"authorization": f"Bearer {TOKENS[Role.GUEST]}"}
    answer = client.request(method, path, json={}, headers=guest, follow_redirects=False)
    # water is reckoned for whoever may look, and an empty question is refused
    refusals = {400, 404} if path in QUESTIONS else {403, 404, 410}
    assert answer.status_code in refusals, path


def test_a_sitters_token_acknowledges_and_no_more(client: TestClient) -> None:
    sitter = {"authorization": f"Bearer {TOKENS[Role.SITTER]}"}
    assert client.post("/api/alarms/42/acknowledge", json={}, headers=sitter).is_success
    for path, body in (
        ("/api/alarms/41/shelve", {"until": "2026-11-12T16:00:00+02:00", "why": "x"}),
        ("/api/journal", {"tank": "A1", "deed": "note", "detail": "x"}),
    ):
        assert client.post(path, json=body, headers=sitter).status_code == 403
    keeper = {"authorization": f"Bearer {TOKENS[Role.KEEPER]}"}
    body = {"tank": "A1", "deed": "note", "detail": "x"}
    assert client.post("/api/journal", json=body, headers=keeper).is_success


@pytest.mark.parametrize("token", ["", " ", "x", TOKENS[Role.KEEPER][:-1], "bearer", "\u00e4"])
def test_a_token_that_is_none_opens_nothing(client: TestClient, token: str) -> None:
    headers = {"authorization": f"Bearer {token}".encode()}
    assert client.get("/api/room", headers=headers).status_code == 401
    assert client.get("/metrics", headers=headers).status_code == 401


@pytest.mark.parametrize(
    "path",
    [
        "/static/../pages.py", "/static/..%2fpages.py", "/static/%2e%2e/pages.py",
        "/static/....//pages.py", "/static//etc/passwd", "/static/room.css%00.py",
        "/static/..\\pages.py", "/static/openapi.json", "/tank/..%2f..%2fetc%2fpasswd",
        "/tank/%2e%2e", "/tank/A1/..%2f..%2fx.svg", "/broods/..%2f..%2fx", "/%2e%2e/%2e%2e/etc",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_what_is_served(client: TestClient, path: str) -> None:
    log_in(client)
    answer = client.get(path)
    assert answer.status_code in {400, 404}
    assert "root:" not in answer.text
    assert "import" not in answer.text


def test_a_guesser_waits_and_the_right_passphrase_does_not_help_meanwhile(
    client: TestClient,
) -> None:
    for n in range(8):
        assert log_in(client, passphrase=f"a wrong guess {n}") == 403
    assert log_in(client, passphrase=SECRET) == 403
    fields = Forms(client.get("/enter").text)["/enter"]
    answer = client.post("/enter", data=fields | {"name": "Keeper", "passphrase": SECRET})
    assert "Too many wrong passphrases" in answer.text


ELSEWHERE = (
    "//evil.example", "https://evil.example/", "/\\evil.example", "/%0d%0aset-cookie:x=1",
    "javascript:alert(1)", "\r\nx: y",
)  # fmt: skip


@pytest.mark.parametrize("back", ELSEWHERE)
def test_logging_in_leads_nowhere_else(client: TestClient, back: str) -> None:
    fields = Forms(client.get("/enter").text)["/enter"] | {"back": back}
    answer = client.post(
        "/enter", data=fields | {"name": "Keeper", "passphrase": SECRET}, follow_redirects=False
    )
    where = answer.headers["location"]
    assert where.startswith("/")
    assert not where.startswith(("//", "/\\"))
    assert "\n" not in where


def test_markup_in_any_name_payload_or_note_is_shown_as_text() -> None:
    records, live, deeds = usual()
    first, *others = records.room.tanks
    room = replace(
        records.room,
        name=EVIL,
        tanks=(replace(first, name=EVIL, species=EVIL), *others),
    )
    records.room = live.kept_room = room
    records.kept_alarms = [
        replace(a, message=EVIL, acknowledged_by=EVIL, shelved_why=EVIL)
        for a in records.kept_alarms
    ]
    records.entries = [
        JournalEntry(at_ms=NOW - 1000, tank=first.id, deed=deed, detail=EVIL)
        for deed in (Deed.NOTE, Deed.WATER_CHANGE, Deed.CALIBRATION)
    ]
    live.not_read = [RefusedView(topic=EVIL, count=3, example=EVIL, why=EVIL)]
    workshop = GlassWorkshop(
        heard=Listening(
            messages=2,
            trouble=EVIL,
            probes=(heard(EVIL, Quantity.TEMPERATURE, 25.0),),
            others=(HeardWords(topic=EVIL, latest=EVIL, why=EVIL),),
        )
    )
    pages = app_of(records, live, deeds, settings=WebPlace(), past=PAST, workshop=workshop)
    with TestClient(pages, base_url=BASE, client=("127.0.0.1", 50000)) as client:
        addresses = (
            "/", "/tank/A1", "/tank/A1/ph.svg", "/alarms", "/alarms/42", "/alarms/performance",
            "/records?tank=A1", "/records/1", "/water?for=A1", f"/water?name0={EVIL}&litres0=1",
            f"/water/ramp?for=A1&name0={EVIL}&litres0=1&dkh0=1", "/water/calibrate?probe=a1-ph",
            "/setup", "/move?tank=A1", "/broods", f"/find?tank={EVIL}", f"/{EVIL}",
            f"/enter?back={EVIL}", f"/tank/A1?span={EVIL}",
        )  # fmt: skip
        for address in addresses:
            text = client.get(address).text
            assert "<script>alert" not in text, address
            assert "<img src=x" not in text, address
            assert "onerror=alert(1)>" not in text.replace("&gt;", ""), address


def test_a_body_that_never_ends_is_cut_off(client: TestClient) -> None:
    log_in(client)
    assert client.post("/records", data={"detail": "x" * 100_000}).status_code == 413
