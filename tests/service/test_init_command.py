"""`roewatch init`: from a few answers to a room file that loads; never over one that is there."""

import stat
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from roewatch.room.fault import SettingsError
from roewatch.room.quantity import Quantity
from roewatch.service.cli import app
from roewatch.service.first_room import FirstRoom, FirstTank, room_text, written
from roewatch.service.settings.document import document_of
from roewatch.service.settings.load import load_setup
from roewatch.service.settings.shipped import shipped_config

runner = CliRunner()
TANKS = ["--tank", "A3:20:50:boraras-brigittae:spawning", "--tank", "A4:30.5"]


def init(folder: Path, *words: str, typed: str = "") -> Result:
    return runner.invoke(app, ["init", "--room", str(folder / "room.toml"), *words], input=typed)


def test_the_options_alone_make_a_room_that_loads(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("swordfish\n")
    done = init(
        tmp_path, "--name", "The Boathouse", "--timezone", "Europe/Tallinn", *TANKS,
        "--quantity", "temperature", "--quantity", "ph", "--broker", "broker.lan:1884",
        "--username", "roewatch", "--password-file", str(tmp_path / "secret"),
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    setup = load_setup(tmp_path / "room.toml", {})
    assert (setup.room.id, setup.room.name, setup.room.zone) == (
        "boathouse",
        "The Boathouse",
        "Europe/Tallinn",
    )
    assert [(t.id, t.litres, t.heater_watts, t.species, t.stage) for t in setup.room.tanks] == [
        ("A3", 20, 50, "boraras-brigittae", "spawning"),
        ("A4", 30.5, 0, "", "holding"),
    ]
    assert [b.topic for b in setup.bindings][:2] == [
        "boathouse/probe-a3/temperature",
        "boathouse/probe-a3/ph",
    ]
    assert (setup.broker.host, setup.broker.port) == ("broker.lan", 1884)
    assert setup.broker.password == "swordfish"
    assert "Nobody is told of an alarm yet" in done.stderr


def test_answers_typed_in_a_terminal_make_the_same(tmp_path: Path) -> None:
    answers = [
        "The Boathouse", "Europe/Tallinn", "", "roewatch", "swordfish", "A3", "twenty", "20", "50",
        "boraras", "boraras-brigittae", "", "", "temperature, ph", "", "ntfy://loft/keeper",
    ]  # fmt: skip
    done = init(tmp_path, "--ask", typed="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.output
    assert "with a point" in done.stderr, "what is no number is asked again"
    setup = load_setup(tmp_path / "room.toml", {})
    assert [probe.quantity for probe in setup.room.probes] == ["temperature", "ph"]
    assert setup.ways[0].url.get_secret_value() == "ntfy://loft/keeper"
    assert "swordfish" not in done.output


def test_a_typed_secret_lies_beside_the_room_for_this_user_alone(tmp_path: Path) -> None:
    assert init(tmp_path, *TANKS, "--ask", typed="\n" * 6 + "https://loft/keeper\n").exit_code == 0
    secret = tmp_path / "keeper-phone-url"
    assert secret.read_text() == "https://loft/keeper\n"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    assert "loft" not in (tmp_path / "room.toml").read_text()


def test_a_secret_in_a_file_already_stays_where_it_is(tmp_path: Path) -> None:
    (tmp_path / "etc").mkdir()
    (tmp_path / "broker-password").write_text("swordfish")
    (tmp_path / "etc/phone").write_text("https://loft/keeper")
    done = init(
        tmp_path / "etc", *TANKS, "--username", "roewatch",
        "--password-file", str(tmp_path / "broker-password"),
        "--way-file", str(tmp_path / "etc/phone"),
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    text = (tmp_path / "etc/room.toml").read_text()
    assert f'password_file = "{tmp_path}/broker-password"' in text
    assert f'url_file = "{tmp_path}/etc/phone"' in text
    assert load_setup(tmp_path / "etc/room.toml", {}).broker.password == "swordfish"


def test_a_room_file_that_is_there_is_never_touched(tmp_path: Path) -> None:
    (tmp_path / "room.toml").write_text("mine")
    done = init(tmp_path, *TANKS)
    assert done.exit_code == 2
    assert "there already" in done.output
    assert (tmp_path / "room.toml").read_text() == "mine"


def test_answers_that_make_no_room_leave_nothing_behind(tmp_path: Path) -> None:
    done = init(tmp_path, "--tank", "A3:20:0:boraras-brigitae", "--timezone", "Nowhere")
    assert isinstance(done.exception, SettingsError)
    told = str(done.exception)
    assert f"{tmp_path}/room.toml" in told
    assert "Write 'boraras-brigittae'" in told
    assert "Nowhere" in told
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "no tank"),
        (["--tank", "A3"], "is not written"),
        (["--tank", "A3:x"], "is not written"),
        ([*TANKS, "--quantity", "warmth"], "no quantity 'warmth'"),
        ([*TANKS, "--broker", "h:x"], "is no port"),
    ],
)
def test_what_cannot_be_meant_is_said_at_once(tmp_path: Path, words: list[str], said: str) -> None:
    done = init(tmp_path, *words)
    assert done.exit_code == 2
    assert said in done.output


def test_the_sample_is_printed_whole() -> None:
    done = runner.invoke(app, ["init", "--sample"])
    assert done.stdout == (shipped_config() / "room.toml").read_text(encoding="utf-8")


@settings(deadline=None, max_examples=40)
@given(st.text(min_size=1, max_size=40), st.text(max_size=20), st.text(max_size=20))
def test_whatever_is_typed_stays_what_it_was(name: str, user: str, contact: str) -> None:
    room = FirstRoom(
        name=name, id="x", timezone="UTC", tanks=[FirstTank(id="A1", litres=20)], username=user,
        quantities=[Quantity.PH], topic="{tank}", contact=contact, way_file="phone",
    )  # fmt: skip
    document = document_of(room_text(room), "room.toml")
    assert document.faults == []
    assert document.table["room"]["name"] == name
    assert document.table["broker"].get("username", "") == user
    assert document.table["contact"][0]["name"] == contact


def test_a_secret_in_the_way_stops_it_before_anything_is_written(tmp_path: Path) -> None:
    (tmp_path / "broker-password").write_text("old")
    room = FirstRoom(
        name="x", id="x", timezone="UTC", tanks=[FirstTank(id="A1", litres=20)], username="u",
        quantities=[Quantity.PH], topic="{tank}", secrets={"broker-password": "new"},
    )  # fmt: skip
    with pytest.raises(SettingsError, match="there already"):
        written(room, tmp_path / "room.toml")
    assert [path.name for path in tmp_path.iterdir()] == ["broker-password"]


def test_completion_knows_the_commands() -> None:
    done = runner.invoke(
        app, [], prog_name="roewatch",
        env={"_ROEWATCH_COMPLETE": "complete_bash", "COMP_WORDS": "roewatch in", "COMP_CWORD": "1"},
    )  # fmt: skip
    assert "init" in done.stdout.split()
