"""Whom to tell, kept in the browser: what the page asks and refuses, and what it never says."""

import pytest
from starlette.testclient import TestClient
from tests.views.reader import Forms, client_of, words
from tests.views.room_of_glass import usual
from tests.views.workshop_of_glass import GlassWorkshop, person

from roewatch.room.kind import Priority
from roewatch.views.contact_ports import WayWish

SECRET = "ntfy://127.0.0.1/pssst"
ACTS = {
    "/contacts": {"name": "Night watch", "way": "phone", "url": SECRET},
    "/contacts/change": {
        "contact": "Keeper", "name": "The keeper", "lowest": "medium", "quiet_from": "23:00",
        "quiet_to": "06:30",
    },
    "/contacts/sooner": {"contact": "Stand-in"},
    "/contacts/remove": {"contact": "Stand-in"},
    "/contacts/patience": {"escalate_after": "5 min"},
    "/contacts/ways": {"contact": "Stand-in", "way": "siren", "url": SECRET},
    "/contacts/ways/change": {"contact": "Keeper", "way": "mail", "url": "", "wait_s": "20"},
    "/contacts/ways/remove": {"contact": "Keeper", "way": "mail"},
}  # fmt: skip


def client(workshop: GlassWorkshop, *, host: str = "127.0.0.1") -> TestClient:
    return client_of(usual(), host=host, workshop=workshop)


def send(client: TestClient, action: str, **more: str) -> tuple[int, str]:
    form = Forms(client.get("/contacts").text)[action]
    answer = client.post(action, data=form | ACTS[action] | more)
    return answer.status_code, words(answer.text)


def test_each_form_asks_for_just_what_was_typed() -> None:
    workshop = GlassWorkshop()
    with client(workshop) as keeper:
        for action in ACTS:
            status, page = send(keeper, action)
            assert status == 200, action
            assert "pssst" not in page
    assert workshop.done == [
        ("contact", "Night watch", WayWish(name="phone", url=SECRET)),
        ("change", "Keeper", "The keeper", "23:00-06:30", Priority.MEDIUM),
        ("sooner", "Stand-in"),
        ("remove", "Stand-in"),
        ("patience", "5 min"),
        ("way", "Stand-in", WayWish(name="siren", url=SECRET)),
        ("change way", "Keeper", WayWish(name="mail", url="", wait_s=20.0)),
        ("remove way", "Keeper", "mail"),
    ]


@pytest.mark.parametrize(
    ("action", "wrong", "status", "said"),
    [
        ("/contacts", {"name": " "}, 400, "needs a name"),
        ("/contacts", {"name": "a\u2028b"}, 400, "needs a name"),
        ("/contacts", {"url": ""}, 400, "Write the address"),
        ("/contacts", {"way": ""}, 400, "short name"),
        ("/contacts/change", {"contact": "Nobody"}, 404, "Nobody called"),
        ("/contacts/change", {"lowest": "journal"}, 400, "lowest: one of"),
        ("/contacts/ways/change", {"way": "pigeon"}, 404, "no way called"),
        ("/contacts/ways/change", {"wait_s": "soon"}, 400, "no number"),
        ("/contacts/ways/change", {"wait_s": "0"}, 400, "between 1 and 300"),
        ("/contacts/ways", {"url": "ntfy://pssst\u0000"}, 400, "all in one line"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_without_the_address(
    action: str, wrong: dict[str, str], status: int, said: str
) -> None:
    workshop = GlassWorkshop()
    with client(workshop) as keeper:
        answered, page = send(keeper, action, **wrong)
    assert (answered, said in page) == (status, True), page
    assert "pssst" not in page
    assert workshop.done == []


def test_hours_left_empty_are_no_quiet_hours_and_one_end_alone_is_refused() -> None:
    workshop = GlassWorkshop()
    with client(workshop) as keeper:
        send(keeper, "/contacts/change", quiet_from="", quiet_to="")
        send(keeper, "/contacts/change", quiet_to="")
    assert [deed[3] for deed in workshop.done] == ["", "23:00-"]  # the file's judge refuses that


def test_the_page_shows_the_order_the_hours_and_the_kind_of_each_way() -> None:
    with client(GlassWorkshop()) as keeper:
        page = words(keeper.get("/contacts").text)
        held = Forms(keeper.get("/contacts").text)
    assert page.index("1 Keeper") < page.index("2 Stand-in")
    assert "quiet hours 22:00-07:00" in page
    assert "phone , by ntfy; waits at most 15&nbsp;s" in page
    assert "after 10 min without an acknowledgement" in page
    urls = [fields["url"] for _, fields in held.found if "url" in fields]
    assert urls
    assert set(urls) == {""}, "an address is never shown again"


def test_a_name_is_shown_as_it_is_and_never_as_a_part_of_the_page() -> None:
    nasty = "<script>alert(1)</script>"
    workshop = GlassWorkshop()
    workshop.contacts.people.append(person(nasty, "phone"))
    with client(workshop) as keeper:
        page = keeper.get("/contacts").text
        assert nasty not in page
        assert "&lt;script&gt;" in page
        assert nasty not in keeper.get("/sitter").text


def test_from_another_machine_one_may_look_and_not_touch() -> None:
    workshop = GlassWorkshop()
    with client(workshop, host="10.1.2.3") as guest:
        page = guest.get("/contacts").text
        assert "the contacts are the keeper" in page
        forms = Forms(page)
        assert not any(action.startswith("/contacts") for action, _ in forms.found)
        for action, fields in ACTS.items():
            token = forms["/theme"]["token"]
            assert guest.post(action, data=fields | {"token": token}).status_code == 403, action
    assert workshop.done == []


def test_the_sitters_sheet_names_them_as_they_are_now() -> None:
    workshop = GlassWorkshop()
    with client(workshop) as keeper:
        assert "Stand-in" in keeper.get("/sitter").text
        workshop.contacts.people = [person("Night watch", "phone")]
        sheet = keeper.get("/sitter").text
    assert "Night watch" in sheet
    assert "Stand-in" not in sheet


def test_with_nobody_to_tell_the_page_says_so_and_offers_the_first() -> None:
    workshop = GlassWorkshop()
    workshop.contacts.people = []
    with client(workshop) as keeper:
        page = keeper.get("/contacts").text
        assert "Nobody would be told of an alarm." in page
        assert "/contacts" in dict(Forms(page).found)
