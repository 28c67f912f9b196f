"""The calendar's address: what a phone fetches, and who may."""

import re
from html import unescape

import vobject
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE
from tests.views.room_of_broods import Nursery, record
from tests.views.room_of_glass import NOW, PAST
from tests.views.test_door import ACCESS, log_in

from roewatch.breeding.record import BroodAct
from roewatch.room.moment import HOUR_MS
from roewatch.views.app import app_of
from roewatch.views.visitor import NOBODY, Access


def client_of(room: Nursery, access: Access = NOBODY) -> TestClient:
    records, live, deeds, broods = room
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, access=access, broods=broods)
    return TestClient(app, base_url=BASE, client=("192.168.1.20", 50000))


def address_on(page: str) -> str:
    found = re.search(r'href="(/calendar\.ics[^"]*)"', page)
    assert found is not None
    return unescape(found[1])


def test_the_list_of_broods_leads_to_a_feed_a_calendar_understands(room: Nursery) -> None:
    with client_of(room) as client:
        answer = client.get(address_on(client.get("/broods").text))
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    calendar = vobject.readOne(answer.text)
    assert calendar.validate(raiseException=True)
    assert "The Boathouse" in calendar.contents["name"][0].value
    assert {event.summary.value.split()[0] for event in calendar.vevent_list} >= {"2026-14"}


def test_a_phone_that_has_the_newest_feed_gets_none(room: Nursery) -> None:
    with client_of(room) as client:
        mark = client.get("/calendar.ics").headers["etag"]
        again = client.get("/calendar.ics", headers={"If-None-Match": mark})
        assert (again.status_code, again.content) == (304, b"")


def test_recording_the_hatch_moves_what_the_phone_already_has(room: Nursery) -> None:
    broods = room[3]
    with client_of(room) as client:
        before = vobject.readOne(client.get("/calendar.ics").text)
        broods.record([record("2026-14", BroodAct.HATCHED, NOW - HOUR_MS)])
        after = vobject.readOne(client.get("/calendar.ics").text)
    old = {event.uid.value: event for event in before.vevent_list}
    new = {event.uid.value: event for event in after.vevent_list}
    assert old.keys() <= new.keys()
    moved = [u for u in old if new[u].dtstart.value != old[u].dtstart.value]
    assert moved
    assert all(int(new[u].sequence.value) == int(old[u].sequence.value) + 1 for u in moved)
    gone = [u for u in old if new[u].status.value == "CANCELLED"]
    assert any("wrigglers" in old[u].summary.value for u in gone)


def test_behind_a_door_the_address_carries_a_key_that_needs_no_login(room: Nursery) -> None:
    with client_of(room, ACCESS) as client:
        log_in(client)
        address = address_on(client.get("/broods").text)
    with client_of(room, ACCESS) as phone:
        assert phone.get(address).status_code == 200
        assert phone.get("/broods", follow_redirects=False).status_code == 303


def test_no_other_key_nor_anybody_elses_name_opens_it(room: Nursery) -> None:
    with client_of(room, ACCESS) as client:
        log_in(client)
        address = address_on(client.get("/broods").text)
        mine = address.partition("key=")[2]
    with client_of(room, ACCESS) as phone:
        for wrong in (
            "/calendar.ics",
            "/calendar.ics?for=Keeper",
            "/calendar.ics?for=Keeper&key=",
            f"/calendar.ics?for=Stand-in&key={mine}",
            f"/calendar.ics?for=Nobody&key={mine}",
            f"/calendar.ics?for=Keeper&key={mine[:-1]}",
            f"/calendar.ics?for=Keeper&key={mine}%C3%A4",
        ):
            answer = phone.get(wrong)
            assert answer.status_code == 403, wrong
            assert "VEVENT" not in answer.text
            assert "copy the address anew" in answer.text


def test_when_somebody_is_taken_out_of_the_settings_their_calendar_ends(room: Nursery) -> None:
    with client_of(room, ACCESS) as client:
        log_in(client)
        address = address_on(client.get("/broods").text)
    left = Access(people=ACCESS.people[1:], link_key=ACCESS.link_key)
    with client_of(room, left) as phone:
        assert phone.get(address).status_code == 403
