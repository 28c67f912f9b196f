"""Who may come in, and what they may do there."""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace

import pytest
from starlette.requests import Request
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Forms, Glass
from tests.views.room_of_glass import NOW, PAST, usual

from roewatch.alarms.alarm import State
from roewatch.alarms.token import make_token
from roewatch.room.moment import DAY_MS
from roewatch.views.app import app_of
from roewatch.views.door import IDLE_S, SESSION, Door, TooManyGuessesError
from roewatch.views.passphrase import fits, hashed, is_kept
from roewatch.views.visitor import Access, KeptSession, Person, Program, Role

SECRET = "seven quiet pencilfish"
KEY = b"a key of sixteen bytes or more"
TOKEN = "a-long-random-token"

PEOPLE = (
    Person(name="Keeper", role=Role.KEEPER, passphrase=hashed(SECRET)),
    Person(name="Stand-in", role=Role.SITTER, passphrase=hashed("another one altogether")),
)
ACCESS = Access(
    people=PEOPLE,
    programs=(
        Program(name="script", role=Role.GUEST, digest=hashlib.sha256(TOKEN.encode()).hexdigest()),
    ),
    link_key=KEY,
)


@pytest.fixture
def client(glass: Glass) -> Iterator[TestClient]:
    records, live, deeds = glass
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, access=ACCESS)
    with TestClient(app, base_url=BASE, client=("192.168.1.20", 50000)) as client:
        yield client


def log_in(client: TestClient, name: str = "Keeper", passphrase: str = SECRET) -> int:
    fields = Forms(client.get("/enter?back=/alarms").text)["/enter"]
    answer = client.post("/enter", data=fields | {"name": name, "passphrase": passphrase})
    status: int = answer.status_code
    return status


def test_nothing_is_shown_to_somebody_who_is_not_inside(client: TestClient) -> None:
    for address in ("/", "/tank/A1", "/alarms", "/records", "/tank/A1/ph.svg", "/find?tank=A1"):
        answer = client.get(address, follow_redirects=False)
        assert answer.status_code == 303, address
        assert answer.headers["location"].startswith("/enter?back="), address
    assert client.get("/api/live").status_code == 401
    assert client.get("/healthz").status_code == 200
    assert "A1" not in client.get("/nowhere").text


def test_the_right_passphrase_leads_back_to_where_one_wanted_to_go(client: TestClient) -> None:
    wanted = client.get("/tank/A1?span=1d")
    assert wanted.url.path == "/enter"
    fields = Forms(wanted.text)["/enter"] | {"name": "keeper", "passphrase": SECRET}
    inside = client.post("/enter", data=fields)
    assert (inside.url.path, inside.url.query) == ("/tank/A1", b"span=1d")
    assert "Keeper, keeper" in inside.text


def test_a_session_cookie_is_kept_from_scripts_and_other_sites(client: TestClient) -> None:
    fields = Forms(client.get("/enter").text)["/enter"] | {"name": "Keeper", "passphrase": SECRET}
    answer = client.post("/enter", data=fields, follow_redirects=False)
    cookie = next(c for c in answer.headers.get_list("set-cookie") if c.startswith(SESSION))
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Secure" not in cookie  # plain http on the local network


def test_a_session_somebody_planted_is_not_taken_over(client: TestClient) -> None:
    fields = Forms(client.get("/enter").text)["/enter"] | {"name": "Keeper", "passphrase": SECRET}
    planted = {"cookie": f"{SESSION}=planted; " + _cookies(client)}
    answer = client.post("/enter", data=fields, headers=planted, follow_redirects=False)
    assert answer.status_code == 303
    assert "planted" not in str(answer.headers.get_list("set-cookie"))
    client.cookies.clear()
    stolen = {"cookie": f"{SESSION}=planted"}
    assert client.get("/", headers=stolen, follow_redirects=False).status_code == 303


def _cookies(client: TestClient) -> str:
    return "; ".join(f"{cookie.name}={cookie.value}" for cookie in client.cookies.jar)


def test_who_acknowledged_is_written_down(client: TestClient, glass: Glass) -> None:
    assert log_in(client) == 200
    fields = Forms(client.get("/alarms").text)["/alarms/42/acknowledge"]
    client.post("/alarms/42/acknowledge", data=fields)
    assert glass[2].done == [("acknowledge", 42, "Keeper")]


def test_a_sitter_acknowledges_and_changes_nothing_else(client: TestClient, glass: Glass) -> None:
    assert log_in(client, "Stand-in", "another one altogether") == 200
    page = client.get("/alarms").text
    assert "/alarms/42/shelve" not in page
    fields = Forms(page)["/alarms/42/acknowledge"]
    refused = client.post("/alarms/42/shelve", data=fields | {"until": "1h", "why": "x"})
    assert refused.status_code == 403
    assert client.post("/records", data=fields | {"tank": "A1"}).status_code == 403
    assert client.post("/alarms/42/acknowledge", data=fields).status_code == 200
    assert glass[2].done == [("acknowledge", 42, "Stand-in")]


def test_after_logging_out_the_old_cookie_opens_nothing(client: TestClient) -> None:
    assert log_in(client) == 200
    old = client.cookies.get(SESSION)
    fields = Forms(client.get("/").text)["/leave"]
    assert client.post("/leave", data=fields).url.path == "/enter"
    assert old is not None
    client.cookies.set(SESSION, old)
    assert client.get("/", follow_redirects=False).status_code == 303


def test_a_wrong_passphrase_says_no_more_than_that(client: TestClient) -> None:
    fields = Forms(client.get("/enter").text)["/enter"]
    for name in ("Keeper", "Nobody"):
        answer = client.post("/enter", data=fields | {"name": name, "passphrase": "wrong wrong"})
        assert answer.status_code == 403
        assert "do not belong together" in answer.text
        assert "wrong wrong" not in answer.text


class Drawer:
    """A shelf that outlives a door."""

    def __init__(self) -> None:
        self.kept: dict[str, KeptSession] = {}

    def load(self) -> dict[str, KeptSession]:
        return dict(self.kept)

    def save(self, sessions: Mapping[str, KeptSession]) -> None:
        self.kept = dict(sessions)


def request_with(cookie: str) -> Request:
    headers = [(b"cookie", f"{SESSION}={cookie}".encode())]
    return Request({"type": "http", "headers": headers, "client": ("192.168.1.20", 1)})


def test_a_new_start_logs_nobody_out_but_a_new_passphrase_does() -> None:
    drawer = Drawer()
    door = Door(PEOPLE, shelf=drawer, wall_s=lambda: 1000.0)
    cookie = door.enter("Keeper", SECRET, "here")
    assert cookie is not None
    assert cookie not in str(drawer.kept), "what is kept opens nothing by itself"
    again = Door(PEOPLE, shelf=drawer, wall_s=lambda: 2000.0)
    visitor = again.who(request_with(cookie))
    assert visitor is not None
    assert (visitor.name, visitor.role) == ("Keeper", Role.KEEPER)
    month = Door(PEOPLE, shelf=drawer, wall_s=lambda: 1000.0 + IDLE_S + 1)
    assert month.who(request_with(cookie)) is None
    new = replace(PEOPLE[0], passphrase=hashed("eight quiet pencilfish"))
    changed = Door((new, PEOPLE[1]), shelf=drawer, wall_s=lambda: 2000.0)
    assert changed.who(request_with(cookie)) is None
    again.leave(visitor)
    assert drawer.kept == {}


def test_guessing_is_slowed_for_the_name_and_for_the_place() -> None:
    now = [0.0]
    door = Door(PEOPLE, clock_s=lambda: now[0])
    for _ in range(5):
        assert door.enter("Keeper", "wrong", "10.0.0.9") is None
    with pytest.raises(TooManyGuessesError, match="Wait 30 s"):
        door.enter("Keeper", SECRET, "10.0.0.77")  # the right one, from elsewhere
    with pytest.raises(TooManyGuessesError):
        door.enter("Stand-in", "another one altogether", "10.0.0.9")
    now[0] = 31.0
    assert door.enter("Keeper", "wrong", "10.0.0.9") is None
    with pytest.raises(TooManyGuessesError, match="Wait 60 s"):
        door.enter("Keeper", SECRET, "10.0.0.9")
    now[0] = 1_000.0
    assert door.enter("Keeper", SECRET, "10.0.0.9") is not None


def test_a_script_has_a_token_and_no_form_of_ours_takes_it(client: TestClient) -> None:
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert client.get("/alarms", headers=bearer).status_code == 200
    assert client.post("/alarms/42/acknowledge", headers=bearer).status_code == 403
    wrong = {"authorization": "Bearer nonsense"}
    assert client.get("/alarms", headers=wrong, follow_redirects=False).status_code == 303


def test_a_proxy_on_this_computer_speaks_for_somebody_elsewhere(glass: Glass) -> None:
    records, live, deeds = glass
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST)
    with TestClient(app, base_url=BASE, client=("127.0.0.1", 50000)) as client:
        assert "/acknowledge" in client.get("/alarms").text
        forwarded = {"x-forwarded-for": "203.0.113.9"}
        assert "/acknowledge" not in client.get("/alarms", headers=forwarded).text


def test_a_kept_passphrase_does_not_show_it_and_fits_only_it() -> None:
    kept = hashed(SECRET)
    assert SECRET not in kept
    assert kept != hashed(SECRET)  # salted
    assert fits(SECRET, kept)
    assert not fits(SECRET + " ", kept)
    with pytest.raises(ValueError, match="too few"):
        hashed("short")
    with pytest.raises(ValueError, match="roewatch passphrase"):
        fits(SECRET, SECRET)
    assert "<secret>" in repr(PEOPLE[0])
    assert "argon2" not in repr(PEOPLE[0])


def test_a_line_of_before_still_opens_and_a_strange_one_never() -> None:
    """Made with Python's hashlib.scrypt directly: N=2^14, r=8, p=5."""
    old = "scrypt$16384$8$5$c2l4dGVlbiBieXRlIHNhbA==$W/k+6GcAc/mfinc3DsxqNfGpKMDyXZJmwKdGlU3BUZQ="
    assert fits(SECRET, old)
    assert not fits(SECRET.upper(), old)
    for strange in ("", "scrypt$1$2", "$argon2id$v=19$m=19456,t=2,p=1$c2FsdA", old + "x"):
        assert not is_kept(strange)
    costly = hashed(SECRET).replace("m=19456", "m=9999999")
    assert not is_kept(costly), "a line may not make the daemon take gigabytes"


def link(number: int = 42, *, issued_ms: int = NOW, key: bytes = KEY) -> str:
    raised = usual()[0].alarm(number)
    assert raised is not None
    token = make_token(key, raised, by="Keeper", issued_ms=issued_ms, lives_ms=DAY_MS)
    return f"/acknowledge/{token}"


def test_opening_the_link_in_a_notice_changes_nothing_and_its_button_acknowledges(
    client: TestClient, glass: Glass
) -> None:
    page = client.get(link())
    assert "B2 pH above window" in page.text
    assert "Acknowledge as Keeper" in page.text
    assert "A4" not in page.text  # one alarm and nothing else of the room
    assert glass[2].done == []
    done = client.post(link())
    assert "Acknowledged as Keeper" in done.text
    assert glass[2].done == [("acknowledge", 42, "Keeper")]
    kept = glass[0].alarm(42)
    assert kept is not None
    assert kept.state is State.ACKNOWLEDGED


def test_a_link_works_once_and_says_who_has_it(client: TestClient, glass: Glass) -> None:
    assert client.post(link()).status_code == 200
    again = client.post(link())
    assert again.status_code == 410
    assert "Alarm 42 is acknowledged already: Keeper has it" in again.text
    assert client.get(link()).status_code == 410
    assert len(glass[2].done) == 1


def test_a_link_is_good_for_one_raise_of_one_alarm_and_not_for_ever(
    client: TestClient, glass: Glass
) -> None:
    late = client.post(link(issued_ms=NOW - DAY_MS))
    assert late.status_code == 410
    assert "This link has expired" in late.text
    before = link()
    glass[0].replace_alarm(42, episode=99)
    assert "raised again since" in client.post(before).text
    assert glass[2].done == []


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_link_that_is_not_ours_opens_nothing(
    client: TestClient, glass: Glass, method: str
) -> None:
    good = link()
    forged = good[:-2] + ("A" if good[-2] != "A" else "B") + good[-1]
    stranger = link(key=b"some other key of a stranger")
    for wrong in (forged, stranger, "/acknowledge/x", "/acknowledge/é.é"):
        answer = client.request(method, wrong)
        assert answer.status_code == 410, wrong
        assert "pH" not in answer.text
    assert glass[2].done == []


def test_somebody_quicker_is_named(client: TestClient, glass: Glass) -> None:
    glass[0].replace_alarm(42, state=State.ACKNOWLEDGED, acknowledged_by="Stand-in")
    assert "Stand-in has it" in client.get(link()).text


def test_another_site_cannot_press_the_button_of_a_link(client: TestClient, glass: Glass) -> None:
    answer = client.post(link(), headers={"origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert glass[2].done == []
