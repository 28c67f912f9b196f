"""`roewatch check`: what it prints, how it ends, and what it finds when it tries things."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from roewatch.room.fault import SettingsError
from roewatch.room.moment import DAY_MS
from roewatch.room.reading import Flag, Flagged
from roewatch.service.cli.check import check
from roewatch.service.settings import trial
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.settings.setup import WaySettings
from roewatch.service.settings.shipped import shipped_config
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

SAMPLE = shipped_config() / "room.toml"
WRONG = Path(__file__).parent / "wrong_rooms"

app = typer.Typer()
app.command()(check)
runner = CliRunner()


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    text = SAMPLE.read_text(encoding="utf-8").replace("# port = 1883", "port = 1")
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    return load_setup(tmp_path / "room.toml", {})


def test_a_faultless_room_ends_with_0_and_says_what_it_saw() -> None:
    done = runner.invoke(app, ["--room", str(SAMPLE)])
    assert done.exit_code == 0
    assert done.stdout == ""
    assert "no fault. 12 tanks, 27 probes, 2 contacts" in done.stderr


def test_what_a_year_of_readings_will_take_is_told(tmp_path: Path) -> None:
    (tmp_path / "room.toml").write_text(SAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    room = str(tmp_path / "room.toml")
    done = runner.invoke(app, ["--room", room])
    assert re.search(r"at this rate \d+ MB a year \(1\.5 bytes a reading, assumed", done.stderr)
    store = Store.open(tmp_path / "roewatch.sqlite")
    days = range(20_000 * DAY_MS, 20_020 * DAY_MS, 10_000)
    store.keep(Kept(readings=[Flagged("a1-water", at, 24.5, 24.5, Flag.GOOD) for at in days]))
    while store.pack_some(2**42):
        pass
    store.close()
    told = [
        json.loads(line)
        for line in runner.invoke(app, ["--room", room, "--json"]).stdout.splitlines()
    ]
    (storage,) = [one for one in told if one["kind"] == "storage"]
    assert storage["measured"]
    assert 0 < storage["bytes_a_reading"] < 1.5
    assert storage["bytes_a_year"] == pytest.approx(
        storage["readings_a_year"] * storage["bytes_a_reading"], rel=0.01
    )


def test_faults_go_to_stdout_and_end_with_1() -> None:
    done = runner.invoke(app, ["--room", str(WRONG / "spans.toml")])
    assert done.exit_code == 1
    assert done.stdout.count("\n") == 11
    assert f"{WRONG / 'spans.toml'}:29: probe.a1-t.every: '0 s' is no time at all" in done.stdout
    assert "11 faults to mend" in done.stderr


def test_with_json_each_fault_is_one_object() -> None:
    done = runner.invoke(app, ["--room", str(WRONG / "windows.toml"), "--json"])
    faults = [json.loads(line) for line in done.stdout.splitlines()]
    assert {
        "kind": "fault",
        "file": str(WRONG / "windows.toml"),
        "line": 12,
        "key": "tank.A3.windows.ph.low",
        "what": "low 7 is not below high 5.5",
        "fix": "Swap the two numbers, or mend them",
    } in faults


def test_no_room_at_all_is_not_a_fault_but_cannot_run(tmp_path: Path) -> None:
    done = runner.invoke(app, ["--room", str(tmp_path / "none.toml")])
    assert isinstance(done.exception, SettingsError)  # `main` ends with 2 for it


def test_the_sources_of_every_sheet_can_be_counted() -> None:
    done = runner.invoke(app, ["--room", str(SAMPLE), "--sources", "--json"])
    told = map(json.loads, done.stdout.splitlines())
    rows = {row["species"]: row for row in told if row["kind"] == "sources"}
    assert len(rows) >= 20
    assert rows["boraras-brigittae"]["published"] > 0
    assert rows["trigonostigma-heteromorpha"]["assumed"] > 0


def test_no_broker_is_said_in_one_sentence_with_what_to_do(setup: Setup) -> None:
    (tried,) = trial.broker_trial(1.0, lambda: 0)(setup)
    assert not tried.good
    assert "nothing listens on 127.0.0.1:1; start the broker" in tried.says


def test_looking_at_the_store_starts_none(setup: Setup) -> None:
    (tried,) = trial.store_trial(setup)
    assert tried.good
    assert not setup.storage.path.exists()


def test_a_file_that_is_no_store_is_bad(setup: Setup) -> None:
    setup.storage.path.write_bytes(b"not a store at all" * 100)
    (tried,) = trial.store_trial(setup)
    assert not tried.good


def test_a_mirror_that_is_switched_off_is_good(setup: Setup) -> None:
    (tried,) = trial.mirror_trial(setup)
    assert (tried.good, tried.says) == (True, "switched off")


def test_a_mirror_that_is_not_there_is_bad(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8").replace(
        "# enabled = false", 'enabled = true\nurl = "http://127.0.0.1:1"'
    )
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    (tried,) = trial.mirror_trial(load_setup(tmp_path / "room.toml", {}))
    assert not tried.good
    assert "cannot be reached" in tried.says


def test_each_way_of_each_contact_is_tried_and_its_refusal_told(setup: Setup) -> None:
    def send(way: WaySettings) -> str:
        return "nobody there" if way.name == "Stand-in/phone" else ""

    tried = {t.name: (t.good, t.says) for t in trial.contact_trial(send)(setup)}
    assert tried == {
        "Keeper/phone": (True, "took it"),
        "Keeper/mail": (True, "took it"),
        "Stand-in/phone": (False, "nobody there"),
    }


def test_one_bad_thing_of_many_ends_a_live_check_with_1(monkeypatch: pytest.MonkeyPatch) -> None:
    def trials(setup: Setup, seconds: float) -> Iterator[trial.Tried]:
        yield trial.Tried(part="store", name="s", good=True, says="sound")
        yield trial.Tried(part="mirror", name="m", good=False, says="refuses the token")
        yield trial.Tried(part="contact", name="c", good=True, says="took it")

    monkeypatch.setattr("roewatch.service.cli.check._trials", trials)
    done = runner.invoke(app, ["--room", str(SAMPLE), "--live", "--json"])
    assert done.exit_code == 1
    told = map(json.loads, done.stdout.splitlines())
    said = [one for one in told if one["kind"] == "live"]
    assert [(s["part"], s["good"]) for s in said] == [
        ("store", True),
        ("mirror", False),
        ("contact", True),
    ]
