"""Contacts written into the room file: comments stay, secrets go in and never come out."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from tests.service.watching import at_work, written_room

from roewatch.outbox.pigeonhole import Pigeonhole
from roewatch.room.kind import Priority
from roewatch.service.contact_desk import ContactDesk
from roewatch.service.room_file import RoomFile
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.settings.setup import WaySettings
from roewatch.views.contact_ports import WayWish

ROOM = """# the keeper's own words
[room]
name = "The Boathouse"
id = "boathouse"
timezone = "Europe/Tallinn"

# whom to tell
[[contact]]
name = "Keeper"  # sleeps lightly
quiet = "22:00-07:00"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/first-secret"  # the old phone
[[contact.ways]]
name = "mail"
url_file = "address"

# only when nobody answers
[[contact]]
name = "Stand-in"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/second-secret"

[[tank]]
id = "A1"  # by the window
litres = 20
"""
URL = "http://127.0.0.1:1/third-secret"


class Kept:
    """Takes the settings over as a daemon would, and counts how often."""

    def __init__(self, file: Path) -> None:
        self.setup: Setup = load_setup(file, {})
        self.times = 0

    def __call__(self) -> bool:
        self.setup = load_setup(self.setup.files[0], {})
        self.times += 1
        return True


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "address").write_text("http://127.0.0.1:1/by-mail", encoding="utf-8")
    file = tmp_path / "room.toml"
    file.write_text(ROOM, encoding="utf-8")
    return file


@pytest.fixture
def desk(file: Path) -> ContactDesk:
    return ContactDesk(RoomFile(Kept(file), {}))


def comments(text: str) -> list[str]:
    return [row.partition("#")[2].strip() for row in text.splitlines() if "#" in row]


def contacts_in(file: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = tomllib.loads(file.read_text(encoding="utf-8"))["contact"]
    return found


def names(desk: ContactDesk) -> list[str]:
    return [contact.name for contact in desk.contacts()]


def test_people_are_shown_with_their_ways_and_without_an_address(desk: ContactDesk) -> None:
    keeper, stand_in = desk.contacts()
    assert (keeper.name, keeper.quiet, keeper.lowest) == ("Keeper", "22:00-07:00", Priority.LOW)
    assert [(way.name, way.kind, way.wait_s) for way in keeper.ways] == [
        ("phone", "http", 15.0),
        ("mail", "http", 15.0),
    ]
    assert stand_in.quiet == ""
    assert "secret" not in repr(desk.contacts()) + repr(WayWish(name="phone", url=URL)).replace(
        "<secret>", ""
    )


def test_a_person_is_added_last_and_told_from_then_on(desk: ContactDesk, file: Path) -> None:
    desk.add("Night watch", WayWish(name="phone", url=URL, wait_s=20))
    assert names(desk) == ["Keeper", "Stand-in", "Night watch"]
    assert contacts_in(file)[-1] == {
        "name": "Night watch",
        "ways": [{"name": "phone", "url": URL, "timeout": "20 s"}],
    }
    assert comments(file.read_text(encoding="utf-8")) == comments(ROOM)
    with pytest.raises(ValueError, match="there is a Keeper already"):
        desk.add("Keeper", WayWish(name="phone", url=URL))


def test_hours_name_and_least_priority_are_changed_where_they_stand(
    desk: ContactDesk, file: Path
) -> None:
    desk.change("Keeper", to="The keeper", quiet="", lowest=Priority.MEDIUM)
    first = desk.contacts()[0]
    assert (first.name, first.quiet, first.lowest) == ("The keeper", "", Priority.MEDIUM)
    assert comments(file.read_text(encoding="utf-8")) == comments(ROOM)
    before = file.read_text(encoding="utf-8")
    with pytest.raises(ValueError, match="nothing was written"):
        desk.change("The keeper", to="The keeper", quiet="at night", lowest=Priority.LOW)
    with pytest.raises(ValueError, match="nothing was written"):
        desk.change("The keeper", to="Stand-in", quiet="", lowest=Priority.LOW)
    assert file.read_text(encoding="utf-8") == before


def test_the_order_in_which_people_are_told_is_changed(desk: ContactDesk, file: Path) -> None:
    desk.sooner("Stand-in")
    assert names(desk) == ["Stand-in", "Keeper"]
    assert sorted(file.read_text(encoding="utf-8").splitlines()) == sorted(ROOM.splitlines())
    with pytest.raises(ValueError, match="first already"):
        desk.sooner("Stand-in")


def test_ways_come_and_go_but_never_the_last(desk: ContactDesk, file: Path) -> None:
    desk.add_way("Stand-in", WayWish(name="siren", url=URL))
    assert [way.name for way in desk.contacts()[1].ways] == ["phone", "siren"]
    desk.remove_way("Stand-in", "phone")
    assert contacts_in(file)[1]["ways"] == [{"name": "siren", "url": URL}]
    with pytest.raises(ValueError, match="only way"):
        desk.remove_way("Stand-in", "siren")
    with pytest.raises(ValueError, match="no way called 'phone'"):
        desk.remove_way("Stand-in", "phone")
    desk.remove("Stand-in")
    desk.remove("Keeper")
    assert names(desk) == []
    assert "# by the window" in file.read_text(encoding="utf-8")


def test_an_address_is_changed_only_when_one_is_told(desk: ContactDesk, file: Path) -> None:
    desk.change_way("Keeper", WayWish(name="phone", url="", wait_s=30))
    desk.change_way("Keeper", WayWish(name="mail", url=URL))
    phone, mail = contacts_in(file)[0]["ways"]
    assert phone == {
        "name": "phone",
        "url": "http://127.0.0.1:1/first-secret",
        "timeout": "30 s",
    }
    assert mail == {"name": "mail", "url": URL}


def test_an_address_that_cannot_be_is_refused_without_saying_it(
    desk: ContactDesk, file: Path
) -> None:
    for url in ("pssst-secret", "nothing-known://pssst-secret", "http://pssst-secret:99999/x"):
        with pytest.raises(ValueError, match="nothing was written") as refused:
            desk.add_way("Keeper", WayWish(name="other", url=url))
        assert "pssst" not in str(refused.value)
    assert file.read_text(encoding="utf-8") == ROOM


def test_how_long_a_serious_alarm_waits_for_somebody(desk: ContactDesk, file: Path) -> None:
    assert desk.patience() == "10 min"
    desk.be_patient("5 min")
    assert desk.patience() == "5 min"
    assert tomllib.loads(file.read_text())["telling"] == {"escalate_after": "5 min"}
    with pytest.raises(ValueError, match="no span"):
        desk.be_patient("soon")


def test_a_person_added_to_a_room_at_work_is_told_by_the_next_test(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    made: dict[str, Pigeonhole] = {}

    def channel_for(way: WaySettings) -> Pigeonhole:
        return made.setdefault(way.name, Pigeonhole())

    with at_work(room, channel_for) as daemon:
        assert daemon.parts is not None
        desk = ContactDesk(RoomFile(daemon.parts.reload, {}))
        desk.add("Night watch", WayWish(name="phone", url=URL))
        assert names(desk) == ["Keeper", "Stand-in", "Night watch"]
        sent = daemon.parts.watch.test_notices()
        assert [notice.way for notice in sent][-1] == "Night watch/phone"
        daemon.parts.watch.deliver()
        assert made["Night watch/phone"].wait_for(1, 30)
        assert set(made) == {"Night watch/phone"}, "those who were there keep their channels"
