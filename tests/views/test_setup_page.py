"""The pages that write the room file: what they ask, what they refuse, and who may."""

import pytest
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Forms, words
from tests.views.room_of_glass import PAST, usual
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.views.app import app_of

FORMS = {
    "/setup/broker": ("/setup", {"host": "10.0.0.5", "port": "8883"}),
    "/setup/listen": ("/setup", {}),
    "/setup/rack": ("/setup", {"rack": "C", "shelf1": "3", "shelf2": "2", "litres": "12,5"}),
    "/setup/tie": (
        "/setup",
        {"key": "house/b2/water", "tank": "B2", "quantity": "temperature"},
    ),
    "/setup/tank": (
        "/setup",
        {"tank": "A2", "species": "boraras-brigittae", "stage": "conditioning"},
    ),
    "/place": ("/move?tank=A2", {"tank": "A2", "rack": "B", "spot": "3/1"}),
    "/water/calibrate": (
        "/water/calibrate?probe=a1-ph",
        {
            "read1": "4,12",
            "true1": "4",
            "read2": "7.05",
            "true2": "7",
            "celsius2": "22",
            "anyway": "",
        },
    ),
}


def client_of(workshop: GlassWorkshop | None, *, host: str = "127.0.0.1") -> TestClient:
    app = app_of(*usual(), settings=WebPlace(), past=PAST, workshop=workshop)
    return TestClient(app, base_url=BASE, client=(host, 50000))


def send(client: TestClient, action: str, **more: str) -> tuple[int, str]:
    page, fields = FORMS[action]
    form = dict(Forms(client.get(page).text).found)[action]  # the last of that address
    answer = client.post(action, data=form | fields | more)
    return answer.status_code, words(answer.text)


def test_each_step_asks_the_workshop_for_just_what_was_typed() -> None:
    workshop = GlassWorkshop()
    with client_of(workshop) as client:
        for action in FORMS:
            assert send(client, action)[0] == 200, action
    assert workshop.done == [
        ("broker", "10.0.0.5", 8883, "roewatch", ""),
        ("listen", 60.0),
        ("rack", "C", [3, 2], 12.5),
        ("tie", "house/b2/water", "B2", Quantity.TEMPERATURE),
        ("stock", "A2", "boraras-brigittae", Stage.CONDITIONING),
        ("place", "A2", "B", 3, 1),
        ("calibrate", "a1-ph", ["4,12=4@25", "7.05=7@22"], False),
    ]


@pytest.mark.parametrize(
    ("action", "wrong", "said"),
    [
        ("/setup/broker", {"host": " "}, "needs a name"),
        ("/setup/broker", {"port": "99999"}, "is none"),
        ("/setup/broker", {"port": "²"}, "is none"),
        ("/setup/rack", {"rack": "../etc"}, "called by a letter"),
        ("/setup/rack", {"shelf1": "", "shelf2": ""}, "first shelf at least"),
        ("/setup/rack", {"shelf1": "-3"}, "whole numbers"),
        ("/setup/rack", {"litres": "many"}, "no number"),
        ("/setup/tie", {"quantity": ""}, "Choose what"),
        ("/setup/tank", {"species": "../../x"}, "no species sheet"),
        ("/setup/tank", {"stage": "dancing"}, "no stage"),
        ("/place", {"spot": "0/1"}, "Choose a place"),
        ("/place", {"spot": "1/²"}, "Choose a place"),
        ("/place", {"rack": "R" * 21}, "Choose a place"),
        ("/water/calibrate", {"true2": ""}, "Line 2"),
    ],
)
def test_what_cannot_be_is_refused_in_words(action: str, wrong: dict[str, str], said: str) -> None:
    workshop = GlassWorkshop()
    with client_of(workshop) as client:
        status, page = send(client, action, **wrong)
    assert status == 400
    assert said in page
    assert workshop.done == []


def test_a_refusal_of_the_workshop_is_told_in_its_own_words() -> None:
    workshop = GlassWorkshop(refusal="nothing was written, because <b>room.toml</b> would not hold")
    with client_of(workshop) as client:
        status, page = send(client, "/setup/rack")
    assert status == 400
    assert "would not hold" in page
    assert "&lt;b&gt;room.toml" in page or "room.toml" in page


def test_from_another_machine_one_may_look_and_not_touch() -> None:
    workshop = GlassWorkshop()
    with client_of(workshop, host="10.1.2.3") as client:
        page = client.get("/setup").text
        assert "the set-up is the keeper" in page
        forms = dict(Forms(page).found)
        assert not any(action.startswith("/setup") for action in forms)
        token = Forms(page)["/theme"]["token"]
        for action, (_, fields) in FORMS.items():
            answer = client.post(action, data=fields | {"token": token})
            assert answer.status_code == 403, action
    assert workshop.done == []


def test_where_nothing_may_be_written_the_pages_say_so() -> None:
    with client_of(None) as client:
        assert client.get("/setup").status_code == 404


def test_the_warmed_probe_stands_first_and_the_page_draws_itself_anew() -> None:
    with client_of(GlassWorkshop()) as client:
        page = client.get("/setup").text
    assert "data-again" in page
    said = words(page)
    assert said.index("this one is warm: house/b2/water") < said.index("house/a1/water")
    assert "read for A1 already" in said


def test_the_test_alarm_says_what_became_of_each_way() -> None:
    with client_of(GlassWorkshop()) as client:
        form = Forms(client.get("/setup").text)["/setup/test"]
        page = words(client.post("/setup/test", data=form).text)
    assert "Keeper/phone: taken" in page
    assert "Keeper/mail: refused (no such mailbox)" in page


def test_a_probe_is_calibrated_with_its_reading_before_ones_eyes() -> None:
    with client_of(GlassWorkshop()) as client:
        page = words(client.get("/water/calibrate?probe=a1-ph").text)
        assert "as it comes" in page
        assert "at rest" in page or "still moving" in page
        begin = Forms(client.get("/water/calibrate?probe=a1-ph").text)["/water/calibrate/begin"]
        told = words(client.post("/water/calibrate/begin", data=begin).text)
        assert "for a while no alarm is made" in told
        assert client.get("/water/calibrate?probe=z9-ph").status_code == 404


def test_the_rooms_own_waters_stand_on_the_bench_until_others_are_typed() -> None:
    with client_of(GlassWorkshop()) as client:
        page = client.get("/water").text
        assert 'value="roof rain"' in page
        assert 'name="celsius0" value="12"' in page
        assert 'value="roof rain"' not in client.get("/water?name0=well&dkh0=4").text
