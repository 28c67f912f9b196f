"""Control: what a command may ask of the running daemon, and how it is refused."""

import json
import socket
import stat
from pathlib import Path
from typing import Any

import pytest
from tests.service.watching import keep_hour, watching, written_room

from roewatch.alarms.alarm import State
from roewatch.service.clock import WallClock
from roewatch.service.control import Control, NoDaemonError, NotDoneError, ask, socket_of
from roewatch.service.settings.load import load_setup
from roewatch.storage.reader import Records


def said(store: Path, line: bytes) -> dict[str, object]:
    with socket.socket(socket.AF_UNIX) as visit:
        visit.settimeout(10)
        visit.connect(str(socket_of(store)))
        visit.sendall(line)
        answer = visit.makefile("rb").readline()
    read = json.loads(answer)
    assert isinstance(read, dict)
    return read


def test_one_line_is_answered_by_one_line(tmp_path: Path) -> None:
    store = tmp_path / "house.db"
    with Control(store, {"double": lambda asked: asked["n"] * 2}):
        assert said(store, b'{"do": "double", "n": 21}\n') == {"said": 42}
        assert ask(store, "double", n=4) == 8


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"hello\n", "no JSON"),
        (b"[1, 2]\n", "send an object"),
        (b'{"do": 7}\n', "send an object"),
        (b'{"do": "explode"}\n', "no errand 'explode'; there are: double"),
        (b'{"do": "double"}\n', "n"),
        (b"\xff\xfe\n", "no JSON"),
        (b"x" * 70_000 + b"\n", "more than 65536 bytes"),
    ],
)
def test_nonsense_is_refused_and_the_next_visitor_is_served(
    tmp_path: Path, line: bytes, why: str
) -> None:
    store = tmp_path / "house.db"
    with Control(store, {"double": lambda asked: asked["n"] * 2}):
        assert why in str(said(store, line)["refused"])
        assert ask(store, "double", n=1) == 2


def test_only_the_daemons_own_user_may_open_the_socket(tmp_path: Path) -> None:
    with Control(tmp_path / "house.db", {}) as control:
        assert stat.S_IMODE(control.path.stat().st_mode) == 0o600


def test_a_socket_left_by_a_killed_daemon_is_no_hindrance(tmp_path: Path) -> None:
    store = tmp_path / "house.db"
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(socket_of(store)))
    left.close()
    with pytest.raises(NoDaemonError, match="no daemon runs here"):
        ask(store, "status")
    with Control(store, {"status": lambda _: "here"}):
        assert ask(store, "status") == "here"
    assert not socket_of(store).exists()


def test_a_folder_too_deep_for_a_sockets_address_works_as_well(tmp_path: Path) -> None:
    deep = tmp_path / ("a" * 100) / ("b" * 100)
    deep.mkdir(parents=True)
    with Control(deep / "house.db", {"status": lambda _: "here"}):
        assert ask(deep / "house.db", "status") == "here"


def test_without_a_daemon_the_text_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(NoDaemonError, match="start it with `roewatch watch`"):
        ask(tmp_path / "house.db", "status")


def test_the_daemon_tells_how_it_stands(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    store = load_setup(room, {}).storage.path
    with watching(room):
        status = ask(store, "status")
    assert status["connected"] is False
    assert status["refusals"] == []
    assert status["kept"] == 0


def test_an_alarm_is_acknowledged_shelved_and_put_back_by_the_daemon_itself(
    tmp_path: Path,
) -> None:
    room = written_room(tmp_path)
    setup = load_setup(room, {})
    keep_hour(setup, now_ms=WallClock().now_ms(), celsius=20.0)
    store = setup.storage.path
    records = Records(store)

    def state() -> State:
        (alarm,) = records.alarms(open_only=True, tank="A3")
        return alarm.state

    with watching(room):
        number = records.alarms(open_only=True, tank="A3")[0].number
        ask(store, "acknowledge", number=number, by="Keeper")
        assert state() is State.ACKNOWLEDGED
        ask(store, "shelve", number=number, for_ms=60_000, why="new heater", by="Keeper")
        assert state() is State.SHELVED
        ask(store, "unshelve", number=number, by="Keeper")
        assert state() is State.UNACKNOWLEDGED
        ask(store, "out-of-service", number=number, why="repair", by="Keeper")
        assert state() is State.OUT_OF_SERVICE
        ask(store, "return", number=number, by="Keeper")
        assert state() is State.UNACKNOWLEDGED
    records.close()


@pytest.mark.parametrize(
    ("do", "what", "why"),
    [
        ("acknowledge", {"number": 99, "by": "Keeper"}, "no open alarm has number 99"),
        ("acknowledge", {"number": "1", "by": "Keeper"}, "number is '1'; a whole number"),
        ("acknowledge", {"number": True, "by": "Keeper"}, "a whole number"),
        ("acknowledge", {"number": 1, "by": "  "}, "by is '  '; a text"),
        ("shelve", {"number": 99, "for_ms": 1, "why": "x", "by": "k"}, "no open alarm"),
        (
            "enter",
            {"tank": "Z9", "deed": "note", "detail": "?"},
            "no tank 'Z9'; there are: room, A3",
        ),
        ("enter", {"tank": "A3", "deed": "party"}, "no deed 'party'; there are: water-change"),
    ],
)
def test_what_cannot_be_done_is_refused_and_the_watch_goes_on(
    tmp_path: Path, do: str, what: dict[str, Any], why: str
) -> None:
    room = written_room(tmp_path)
    store = load_setup(room, {}).storage.path
    with watching(room):
        with pytest.raises(NotDoneError, match=why):
            ask(store, do, **what)
        assert ask(store, "status")["kept"] == 0


def test_a_journal_entry_is_kept_before_the_answer(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    store = load_setup(room, {}).storage.path
    with watching(room):
        ask(store, "enter", tank="A3", deed="note", detail="moved the sponge", at_ms=5)
        records = Records(store)
        (entry,) = records.journal("A3", 0, 10)
        records.close()
    assert entry.detail == "moved the sponge"


def test_settings_with_a_fault_are_not_taken_over(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    store = load_setup(room, {}).storage.path
    with watching(room) as watch:
        room.write_text(room.read_text().replace('stage = "spawning"', 'stage = "eggs"'))
        ask(store, "reload")
        assert watch.room.tank("A3").stage == "eggs"
        room.write_text(room.read_text().replace('stage = "eggs"', 'stage = "party"'))
        with pytest.raises(NotDoneError, match="`roewatch check` names them"):
            ask(store, "reload")
        assert watch.room.tank("A3").stage == "eggs"


def test_test_notices_are_queued_for_every_way(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    store = load_setup(room, {}).storage.path
    with watching(room):
        assert {made["way"] for made in ask(store, "test")} == {
            "Keeper/phone",
            "Stand-in/phone",
        }
