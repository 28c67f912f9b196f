"""The files a simulated run leaves, and the command that writes them."""

import csv
import json
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from roewatch.room.moment import DAY_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.cli import app
from roewatch_sim.description import described
from roewatch_sim.payload import Board

SETTINGS = Path(__file__).parents[2] / "config" / "room.toml"
START = "2026-11-10T00:00:00Z"


def simulate(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, list(arguments))
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def day(tmp_path: Path) -> Path:
    file = tmp_path / "day.csv"
    code, _, _ = simulate(
        "--csv", str(file), "--start", START, "--seconds", "144", "--speed", "600",
        "--scenario", "heater-dead", "--tank", "A3", "--after", "10 h", "--lasting", "2 h",
    )  # fmt: skip
    assert code == 0
    return file


def rows_of(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_the_readings_file_holds_exactly_what_the_room_said(day: Path) -> None:
    room = boathouse(1, at_ms_of_iso(START))
    rows = rows_of(day)
    assert list(rows[0]) == ["time", "tank", "quantity", "value"]
    before = [s for s in room.run(at_ms_of_iso(START) + DAY_MS) if s.tank != "A3"]
    written = [
        (at_ms_of_iso(r["time"]), r["tank"], Quantity(r["quantity"]), float(r["value"]))
        for r in rows
        if r["tank"] != "A3"
    ]
    assert written == [(s.at_ms, s.tank, s.quantity, s.value) for s in before]


def test_the_labels_file_says_what_was_broken_and_when(day: Path) -> None:
    (line,) = day.with_suffix(".labels.jsonl").read_text().splitlines()
    label = json.loads(line)
    assert label["fault"] == "heater-dead"
    assert label["tank"] == "A3"
    assert label["time"] == "2026-11-10T10:00:00Z"
    assert label["until"] == "2026-11-10T12:00:00Z"


def test_the_journal_file_has_the_columns_of_replay(day: Path) -> None:
    rows = rows_of(day.with_suffix(".journal.csv"))
    assert list(rows[0]) == ["time", "tank", "event", "until", "detail"]
    assert {row["event"] for row in rows} == {"water-change"}
    assert all(at_ms_of_iso(row["time"]) < at_ms_of_iso(row["until"]) for row in rows)


def test_an_injected_fault_is_one_line_of_json_on_stdout(tmp_path: Path) -> None:
    _, out, _ = simulate(
        "--csv", str(tmp_path / "a.csv"), "--start", START, "--seconds", "60",
        "--scenario", "power-cut",
    )  # fmt: skip
    (line,) = out.splitlines()
    assert json.loads(line)["time"] == "2026-11-10T00:10:00Z"
    assert json.loads(line)["tank"] == ""


WRONG = [
    ([], "nothing to do"),
    (["--broker", "nowhere"], "is not HOST:PORT"),
    (["--csv", "x.csv"], "a file without an end"),
    (["--csv", "x.csv", "--seconds", "0"], "no time at all"),
    (["--csv", "x.csv", "--seconds", "1", "--speed", "-1"], "would stop time"),
    (["--csv", "x.csv", "--seconds", "1", "--start", "2026-11-10"], "no time zone"),
    (["--csv", "x.csv", "--seconds", "1", "--every", "often"], "is not a span"),
    (["--csv", "x.csv", "--seconds", "1", "--scenario", "heater-dead", "--tank", "Z"], "no tank"),
    (["--broker", "h:1", "--password-file", "/nowhere/secret"], "/nowhere/secret"),
]


@pytest.mark.parametrize(("arguments", "why"), WRONG)
def test_what_cannot_be_run_is_said_and_ends_with_two(
    arguments: list[str], why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = simulate(*arguments)
    assert (code, out) == (2, "")
    assert why in err
    assert list(tmp_path.iterdir()) == []


def test_the_sample_settings_know_every_tank_and_topic_of_the_boathouse() -> None:

    settings = tomllib.loads(SETTINGS.read_text(encoding="utf-8"))
    room = boathouse(1, at_ms_of_iso(START))
    wanted = {
        tank["id"]: (tank["litres"], tank["heater_watts"], tank["species"], tank["stage"])
        for tank in settings["tank"]
    }
    assert wanted == {
        tank.id: (tank.litres, tank.heater_watts, tank.species, str(tank.stage))
        for tank in described(room).tanks
    }
    spoken = {message.topic for message in Board().messages(room.run(room.start_ms + 60_000))}
    assert spoken == {probe["topic"] for probe in settings["probe"]}
