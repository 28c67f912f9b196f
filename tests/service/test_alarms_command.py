"""`roewatch alarms`: what it lists without a daemon, and what it has a daemon do."""

import json
from pathlib import Path

import pytest
from tests.service.watching import keep_hour, watching, written_room
from typer.testing import CliRunner

from roewatch.room.moment import DAY_MS
from roewatch.service.cli.alarms import app
from roewatch.service.clock import WallClock
from roewatch.service.control import NoDaemonError, NotDoneError
from roewatch.service.settings.load import load_setup
from roewatch.storage.store import Store
from roewatch.storage.trouble import StoreError

runner = CliRunner()
KEYS = {
    "number", "time", "tank", "alarm", "quantity", "priority", "state", "value", "message",
    "forecast_exit", "since", "returned", "acknowledged_by", "shelved_until", "why",
}  # fmt: skip


@pytest.fixture
def cold(tmp_path: Path) -> Path:
    """A room whose tank A3 has been too cold for an hour."""
    room = written_room(tmp_path)
    keep_hour(load_setup(room, {}), now_ms=WallClock().now_ms(), celsius=20.0)
    return room


def rows(*words: str, room: Path) -> list[dict[str, object]]:
    done = runner.invoke(app, [*words, "--room", str(room), "--json"])
    assert done.exit_code == 0, done.output
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_open_alarms_are_listed_without_a_daemon(cold: Path) -> None:
    (row,) = rows("list", room=cold)
    assert set(row) == KEYS
    assert (row["tank"], row["alarm"], row["state"]) == ("A3", "below-window", "unacknowledged")


def test_the_list_for_people_has_number_place_and_what(cold: Path) -> None:
    done = runner.invoke(app, ["list", "--room", str(cold)])
    (line,) = done.stdout.splitlines()
    assert line.split()[0] == "1"
    assert "A3" in line
    assert "temperature below window" in line


def test_no_open_alarm_is_said_to_the_person_not_to_the_script(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    Store.open(load_setup(room, {}).storage.path).close()
    done = runner.invoke(app, ["list", "--room", str(room), "--json"])
    assert (done.exit_code, done.stdout) == (0, "")
    assert "No open alarm" in done.stderr


def test_a_tank_there_is_not_is_a_wrong_option(cold: Path) -> None:
    done = runner.invoke(app, ["list", "--room", str(cold), "--tank", "Z9"])
    assert done.exit_code == 2
    assert "no tank 'Z9'" in done.stderr


def test_without_a_store_the_text_says_so(tmp_path: Path) -> None:
    done = runner.invoke(app, ["list", "--room", str(written_room(tmp_path))])
    assert isinstance(done.exception, StoreError)  # `main` ends with 2 for it
    assert "no store there yet" in str(done.exception)


def test_acknowledging_needs_the_daemon(cold: Path) -> None:
    done = runner.invoke(app, ["acknowledge", "1", "--room", str(cold)])
    assert isinstance(done.exception, NoDaemonError)


def test_the_life_of_an_alarm_is_told_with_who_had_it(cold: Path) -> None:
    with watching(cold):
        for words in (
            ["acknowledge", "1", "--by", "Keeper"],
            ["shelve", "1", "--for", "2h", "--why", "new heater", "--by", "Keeper"],
            ["unshelve", "1", "--by", "Keeper"],
            ["out-of-service", "1", "--why", "repair", "--by", "Keeper"],
            ["return", "1", "--by", "Stand-in"],
        ):
            done = runner.invoke(app, [*words, "--room", str(cold)])
            assert done.exit_code == 0, (words, done.output, done.exception)
            assert done.stdout == ""
        life = rows("history", "1", room=cold)
    changes = [row for row in life if "before" in row]
    assert [row["state"] for row in changes] == [
        "unacknowledged",
        "acknowledged",
        "shelved",
        "unacknowledged",
        "out-of-service",
        "unacknowledged",
    ]
    assert changes[1]["acknowledged_by"] == "Keeper"
    assert changes[2]["why"] == "new heater"
    told = [row for row in life if "notice" in row]
    assert {row["way"] for row in told} <= {"Keeper/phone", "Stand-in/phone"}


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["shelve", "1", "--for", "3d", "--why", "x"], "within 24 h"),
        (["shelve", "1", "--for", "1h", "--why", " "], "why"),
        (["unshelve", "1"], "not shelved"),
        (["return", "1"], "not out of service"),
        (["reset", "1"], "not latched"),
        (["acknowledge", "44"], "no open alarm has number 44"),
    ],
)
def test_the_books_refusal_reaches_the_person(cold: Path, words: list[str], why: str) -> None:
    with watching(cold):
        done = runner.invoke(app, [*words, "--room", str(cold), "--by", "Keeper"])
    assert isinstance(done.exception, NotDoneError)
    assert why in str(done.exception)


def test_a_span_nobody_can_read_is_a_wrong_option(cold: Path) -> None:
    done = runner.invoke(app, ["shelve", "1", "--for", "soon", "--why", "x", "--room", str(cold)])
    assert done.exit_code == 2
    assert "'soon' is not a span" in done.stderr


def test_history_leaves_out_what_is_older(cold: Path) -> None:
    assert [row["alarm"] for row in rows("history", "--last", "2h", room=cold)] == ["below-window"]
    assert rows("history", "--last", "1 s", room=cold) == []


def test_performance_counts_the_span(cold: Path) -> None:
    (figures,) = rows("performance", "--last", "7d", room=cold)
    assert figures["alarms"] == 1
    assert figures["by_priority"] == {"high": 1} or figures["by_priority"] == {"medium": 1}
    said = runner.invoke(app, ["performance", "--room", str(cold)]).stdout
    assert said.startswith("Alarms: 1 (")


def test_a_room_whose_time_ran_ahead_is_counted_to_its_own_present(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    ahead_ms = WallClock().now_ms() + DAY_MS
    keep_hour(load_setup(room, {}), now_ms=ahead_ms, celsius=20.0)
    (figures,) = rows("performance", "--last", "7d", room=room)
    assert figures["alarms"] == 1
    assert [row["alarm"] for row in rows("history", "--last", "2h", room=room)] == ["below-window"]
