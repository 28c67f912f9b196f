"""Commands as a keeper types them: whole processes, real broker, exit codes and streams."""

import json
import signal
import socket
import sqlite3
import subprocess
import sys
import tomllib
from contextlib import closing
from operator import itemgetter
from pathlib import Path
from typing import Any

import pytest
from tests.journeys.broker import Broker, Publisher
from tests.journeys.house import ROOT, House, _env, message, now_ms, wait_until
from tests.journeys.receivers import WebhookReceiver
from tests.service.watching import keep_hour, written_room
from typer.testing import CliRunner

from roewatch.alarms.line import alarm_line
from roewatch.service.cli import app
from roewatch.service.settings.load import load_setup
from roewatch.storage.reader import Records
from roewatch.storage.store import Store

COMMANDS = [
    [], ["demo"], ["watch"], ["check"], ["listen"], ["replay"], ["graph"], ["export"], ["import"],
    ["backup"], ["restore"], ["salvage"], ["contact"], ["contact", "test"], ["water"],
    ["alarms"], ["alarms", "list"], ["alarms", "acknowledge"], ["alarms", "shelve"],
    ["alarms", "unshelve"], ["alarms", "out-of-service"], ["alarms", "return"],
    ["alarms", "reset"], ["alarms", "history"], ["alarms", "performance"],
    ["brood"], ["brood", "start"], ["brood", "list"], ["brood", "spawned"], ["brood", "report"],
    ["probe"], ["probe", "list"], ["probe", "calibrate"], ["probe", "history"],
]  # fmt: skip


def roewatch(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "roewatch.service.cli", *words],
        check=False, capture_output=True, text=True, env=_env(), timeout=120, cwd=cwd,
    )  # fmt: skip


def test_the_version_is_that_of_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    said = roewatch("--version")
    assert (said.returncode, said.stdout) == (0, f"{project['version']}\n")


def house(folder: Path, broker: Broker) -> House:
    return House(folder, broker, ways=[("Keeper", "phone", "http://127.0.0.1:1/keeper")])


@pytest.mark.needs("mosquitto")
def test_listen_tells_what_speaks_and_what_to_write_for_it(tmp_path: Path, broker: Broker) -> None:
    home = house(tmp_path / "house", broker)
    with Publisher(broker) as probes:
        probes.publish("house/a1/temperature", message(now_ms(), 24.5), retain=True)
        probes.publish("shed/b2/ph", b"6.41", retain=True)
    done = home.command("listen", "--room", str(home.room), "--seconds", "2")
    assert done.returncode == 0, done.stderr
    assert '# "house/a1/temperature": 1 message' in done.stdout
    assert "# in the settings already: a1-temperature" in done.stdout
    assert 'topic = "shed/b2/ph"' in done.stdout
    assert 'quantity = "ph"' in done.stdout
    assert "2 topics spoke, 1 of them not in the settings" in done.stderr
    said = home.command("listen", "--room", str(home.room), "--seconds", "1", "--json")
    rows = {row["topic"]: row for row in map(json.loads, said.stdout.splitlines())}
    assert rows["house/a1/temperature"]["probes"] == ["a1-temperature"]
    assert rows["shed/b2/ph"]["latest"] == '"6.41"'


@pytest.mark.needs("mosquitto")
def test_listen_ends_with_1_when_nothing_speaks_and_2_when_it_is_not_let_in(
    tmp_path: Path, broker: Broker
) -> None:
    home = house(tmp_path / "house", broker)
    silent = home.command("listen", "--room", str(home.room), "--seconds", "1")
    assert (silent.returncode, silent.stdout) == (1, "")
    refused = roewatch("listen", "--host", broker.host, "--port", str(broker.port))
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "refuses us" in refused.stderr
    assert "Traceback" not in refused.stderr


def test_every_command_says_what_it_does_and_how_it_ends() -> None:
    runner = CliRunner()
    for words in COMMANDS:
        done = runner.invoke(app, [*words, "--help"])
        assert done.exit_code == 0, words
        assert "Usage:" in done.stdout, words
        assert done.stderr == "", words


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["alarms", "list"], "no room file there. Name one with --room"),
        (["check", "--room", "none.toml"], "none.toml"),
        (["alarms", "list", "--room", "room.toml"], "no store there yet; `roewatch watch`"),
        (["alarms", "acknowledge", "1", "--room", "room.toml"], "start it with `roewatch watch`"),
        (["graph", "Z9", "ph", "--room", "room.toml"], "no tank 'Z9'"),
        (["graph", "A3", "charm", "--room", "room.toml"], "no quantity 'charm'"),
        (["listen", "--room", "room.toml"], "nothing listens on 127.0.0.1:1; start the broker"),
        (["replay", "--room", "room.toml", "--readings", "room.toml"], "no column time"),
        (["restore", "room.toml", "--room", "room.toml"], "file is not a database"),
        (["export", "--room", "room.toml", "--out", "no/such/day.csv"], "check the name"),
        (["frobnicate"], "No such command"),
    ],
)
def test_what_cannot_run_ends_with_2_and_words_but_no_traceback(
    tmp_path: Path, words: list[str], why: str
) -> None:
    written_room(tmp_path)
    if words[0] == "export":
        Store.open(load_setup(tmp_path / "room.toml", {}).storage.path).close()
    (tmp_path / "elsewhere").mkdir()
    folder = tmp_path if "--room" in words else tmp_path / "elsewhere"
    done = roewatch(*words, cwd=folder)
    assert done.returncode == 2, done
    assert done.stdout == ""
    assert why in " ".join(done.stderr.replace("│", " ").split())
    assert "Traceback" not in done.stderr


def test_a_store_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    path = load_setup(room, {}).storage.path
    Store.open(path).close()
    with closing(sqlite3.connect(path)) as store:
        store.execute("PRAGMA user_version = 999")
    done = roewatch("watch", "--room", str(room))
    assert done.returncode == 2
    assert "schema 999" in done.stderr
    assert "install the newer program again" in done.stderr.replace("\n", " ")
    assert "Traceback" not in done.stderr


def test_a_reader_that_has_had_enough_is_no_error(tmp_path: Path) -> None:
    room = written_room(tmp_path)
    keep_hour(load_setup(room, {}), now_ms=now_ms())
    first = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m roewatch.service.cli export --room {room} | head -1"],
        check=False, capture_output=True, text=True, env=_env(), timeout=120,
    )  # fmt: skip
    assert first.stdout == "time,tank,quantity,probe,raw,value,flag\n"
    assert "Traceback" not in first.stderr
    assert "Broken pipe" not in first.stderr


@pytest.mark.needs("mosquitto")
def test_a_test_goes_the_whole_way_through_broker_daemon_and_contact(
    tmp_path: Path, broker: Broker, phone: WebhookReceiver
) -> None:
    home = House(tmp_path / "house", broker, ways=[("Keeper", "phone", phone.url)])
    home.start()
    try:
        done = home.command("contact", "test", "--path", "--room", str(home.room), "--json")
    finally:
        home.stop()
    assert done.returncode == 0, done.stderr
    (receipt,) = map(json.loads, done.stdout.splitlines())
    assert (receipt["way"], receipt["outcome"]) == ("Keeper/phone", "taken")
    assert phone.got[-1].body["about"] == "test"


@pytest.mark.needs("mosquitto")
def test_a_room_whose_pages_cannot_be_served_is_watched_all_the_same(
    tmp_path: Path, broker: Broker
) -> None:
    home = house(tmp_path / "house", broker)
    with socket.socket() as other:
        other.bind(("127.0.0.1", home.page_port))
        other.listen()
        home.start()
        try:
            assert home.running
            with Publisher(broker) as probes:
                probes.publish("house/a1/temperature", message(now_ms(), 24.5))
            wait_until(lambda: home.readings_kept() == 1, "the reading is kept")
        finally:
            home.stop()
    assert "pages_not_served" in home.log
    assert "another program has this port" in home.log


# -- the demo ------------------------------------------------------------------------------------

LINE = {
    "time", "tank", "alarm", "quantity", "priority", "state", "value", "message", "forecast_exit",
}  # fmt: skip


@pytest.mark.timeout(400)
def test_the_demo_raises_what_it_breaks_and_its_recorded_days_replay_to_the_same_alarms(
    tmp_path: Path,
) -> None:
    folder, talk = tmp_path / "demo", tmp_path / "talk.txt"
    with talk.open("w") as to_person, subprocess.Popen(
        [sys.executable, "-m", "roewatch.service.cli", "demo", "--speed", "600", "--json",
         "--scenario", "heater-dead", "--history", "2 d", "--seconds", "240",
         "--folder", str(folder)],
        stdout=subprocess.PIPE, stderr=to_person, text=True, env=_env(),
    ) as process:  # fmt: skip
        assert process.stdout is not None
        said = []
        for line in process.stdout:
            said.append(line)
            if '"heater-dead"' in line:
                break
        wait_until(lambda: "to Keeper" in talk.read_text(), "the keeper is told")
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=60)
    assert process.returncode == 0, talk.read_text()
    *lines, last = map(json.loads, [*said, *rest.splitlines()])
    assert all(set(line) == LINE for line in lines)
    dead = [line for line in lines if line["alarm"] == "heater-dead"]
    assert {line["tank"] for line in dead} == {"A3"}
    assert last["summary"]["kept"] == last["summary"]["published"] > 1000
    assert last["summary"]["alarm_changes"] == len(lines)
    assert last["summary"]["notices"] > 0

    room = str(folder / "room.toml")
    day, journal = str(tmp_path / "day.csv"), str(tmp_path / "journal.csv")
    out = roewatch("export", "--room", room, "--out", day, "--journal", journal)
    assert out.returncode == 0, out.stderr
    again = roewatch("replay", "--room", room, "--readings", day, "--journal", journal)
    assert again.returncode == 0, again.stderr
    replayed = [json.loads(line) for line in again.stdout.splitlines()]
    records = Records(folder / "boathouse.db")
    lived = [
        alarm_line(change)
        for alarm in records.alarms(limit=10_000)
        for change in records.changes(alarm.number)
    ]
    records.close()
    assert _courses(replayed) == _courses(lived)
    assert {_step(line) for line in lines} <= {_step(line) for line in lived}

    taken = roewatch("demo", "--folder", str(folder))
    assert taken.returncode == 2
    assert "holds a room already" in taken.stderr


def _step(line: dict[str, Any]) -> tuple[str, str, str, str]:
    return line["time"], line["tank"], line["alarm"], line["state"]


def _courses(
    lines: list[dict[str, Any]],
) -> dict[tuple[str, str, str | None], list[tuple[str, bool]]]:
    """When each fault came and went; what a person did about it is not in the readings."""
    courses: dict[tuple[str, str, str | None], list[tuple[str, bool]]] = {}
    for line in sorted(lines, key=itemgetter("time")):
        course = courses.setdefault((line["tank"], line["alarm"], line["quantity"]), [])
        there = line["state"] not in {"normal", "returned"}
        if not course or course[-1][1] is not there:
            course.append((line["time"], there))
    return courses


def test_the_demo_says_that_its_port_is_taken_and_what_to_do() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        done = roewatch("demo", "--port", str(other.getsockname()[1]))
    assert done.returncode == 2
    assert "another program has this port" in done.stderr
    assert "Traceback" not in done.stderr
