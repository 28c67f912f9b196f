"""`roewatch probe`: what probes say, and a calibration from the buffers to the room file."""

import json
import tomllib
from pathlib import Path

import pytest
from tests.service.watching import keep_hour, watching, written_room
from typer.testing import CliRunner

from roewatch.room.moment import DAY_MS, at_ms_of_iso, iso
from roewatch.room.tank import Calibration
from roewatch.service.calibrating import history_of, with_calibration
from roewatch.service.cli import app
from roewatch.service.clock import WallClock
from roewatch.service.settings.load import load_setup
from roewatch.service.settings.shipped import shipped_config
from roewatch.storage.reader import Records

runner = CliRunner()
NOON = at_ms_of_iso("2026-05-04T12:00:00Z")
SAMPLE = (shipped_config() / "room.toml").read_text(encoding="utf-8")


@pytest.fixture
def room(tmp_path: Path) -> Path:
    file = written_room(tmp_path)
    keep_hour(load_setup(file, {}), now_ms=WallClock().now_ms())
    return file


def test_every_probe_is_listed_with_value_flag_and_age(room: Path) -> None:
    done = runner.invoke(app, ["probe", "list", "--room", str(room), "--json"])
    warm, sour = map(json.loads, done.stdout.splitlines())
    assert (warm["probe"], warm["value"], warm["topic"]) == (
        "a3-temperature",
        26.5,
        "house/a3/temperature",
    )
    assert sour["value"] == 5.9
    assert 0 < warm["age_s"] < 120
    assert warm["refused"] is None
    assert "No daemon runs" in done.stderr


def test_with_a_daemon_the_refused_are_counted(room: Path) -> None:
    with watching(room):
        done = runner.invoke(app, ["probe", "list", "--room", str(room), "--json"])
    assert [json.loads(line)["refused"] for line in done.stdout.splitlines()] == [0, 0]


def test_a_probe_that_never_spoke_says_so(tmp_path: Path) -> None:
    file = written_room(tmp_path)
    with watching(file):
        done = runner.invoke(app, ["probe", "list", "--room", str(file)])
    assert done.stdout.count("has never spoken") == 2


# -- calibrating ---------------------------------------------------------------------------------


def calibrated(room: Path, *words: str) -> dict[str, object]:
    done = runner.invoke(
        app, ["probe", "calibrate", "a3-ph", "--room", str(room), "--json", *words]
    )
    assert done.exit_code == 0, (done.output, done.exception)
    said = json.loads(done.stdout)
    assert isinstance(said, dict)
    return said


def test_a_perfect_probe_is_left_as_it_is(room: Path) -> None:
    said = calibrated(room, "--point", "4.00=4@20", "--point", "7.02=7@20", "--dry-run")
    assert said["slope"] == pytest.approx(1.0)
    assert said["offset"] == pytest.approx(0.0, abs=1e-9)
    assert said["slope_percent"] == [pytest.approx(100.0)]
    assert said["past"] == "keep"


def test_the_calibration_goes_into_the_room_file_and_makes_the_probe_read_true(room: Path) -> None:
    at = iso(NOON)
    calibrated(room, "--point", "4.15=4.01@25", "--point", "7.05=7.00@25", "--at", at)
    setup = load_setup(room, {})
    probe = next(p for p in setup.room.probes if p.id == "a3-ph")
    assert probe.calibrated(4.15, NOON) == pytest.approx(4.01, abs=1e-3)
    assert probe.calibrated(7.05, NOON) == pytest.approx(7.00, abs=1e-3)
    assert probe.calibrated(7.05, NOON - 1) == 7.05
    records = Records(setup.storage.path)
    (entry,) = records.journal("A3", NOON, NOON + 1)
    records.close()
    assert entry.deed == "calibration"
    assert entry.detail.startswith("ph probe a3-ph: slope 1.03")
    assert "it was +0.14 off" in entry.detail


def test_the_running_daemon_enters_it_into_the_journal_and_judges_by_it(room: Path) -> None:
    with watching(room) as watch:
        done = runner.invoke(
            app,
            ["probe", "calibrate", "a3-ph", "--room", str(room), "--at", iso(NOON),
             "--point", "4.15=4.01", "--point", "7.05=7.00"],
        )  # fmt: skip
        probe = next(p for p in watch.room.probes if p.id == "a3-ph")
        assert probe.calibrated(7.05, NOON) == pytest.approx(7.00, abs=1e-3)
        assert done.exit_code == 0, (done.output, done.exception)
        records = Records(load_setup(room, {}).storage.path)
        assert len(records.journal("A3", NOON, NOON + 1)) == 1
        records.close()
    assert "the daemon judges by it from now on" in done.stderr


@pytest.mark.parametrize(
    ("points", "why"),
    [
        (["4.0=4"], "1 buffers given"),
        (["4.0=4", "4.9=5"], "less than 2 pH apart"),
        (["7.0=4", "4.0=7"], "Were the buffers swapped?"),
        (["4.0=4@10", "7.0=7@25"], "15.0\u202f°C apart"),
        (["4.0=milk", "7.0=7"], "no buffer 'milk'"),
        (["4.0", "7.0=7"], "is no point"),
        (["4.0=4@80", "7.0=7@80"], "buffer temperature"),
        (["4.0=0.2", "7.0=7"], "none that is sold"),
    ],
)
def test_points_that_cannot_be_right_are_refused(room: Path, points: list[str], why: str) -> None:
    before = room.read_text()
    words = [word for point in points for word in ("--point", point)]
    done = runner.invoke(app, ["probe", "calibrate", "a3-ph", "--room", str(room), *words])
    assert done.exit_code == 2
    assert why in done.stderr
    assert room.read_text() == before


def test_a_worn_electrode_is_not_used_unless_one_insists(room: Path) -> None:
    before = room.read_text()
    words = ["probe", "calibrate", "a3-ph", "--room", str(room), "--at", iso(NOON),
             "--point", "4.60=4.01", "--point", "7.00=7.00"]  # fmt: skip
    done = runner.invoke(app, words)
    assert done.exit_code == 1
    assert "under 90 %" in done.stdout
    assert room.read_text() == before
    assert runner.invoke(app, [*words, "--anyway"]).exit_code == 0
    assert "[[probe.calibrations]]" in room.read_text()


def test_a_thermometer_takes_one_true_value(room: Path) -> None:
    done = runner.invoke(
        app,
        ["probe", "calibrate", "a3-temperature", "--room", str(room), "--at", iso(NOON),
         "--point", "26.5=26.1", "--json"],
    )  # fmt: skip
    assert json.loads(done.stdout)["offset"] == pytest.approx(-0.4)


@pytest.mark.parametrize(
    ("points", "why"),
    [
        (["26.5=20.0"], "Replace it"),
        (["26.5=26.0", "24.5=24.0"], "under 5\u202f°C apart"),
        (["26.5=warm"], "no number"),
    ],
)
def test_a_thermometer_too_far_off_is_not_corrected(
    room: Path, points: list[str], why: str
) -> None:
    words = [word for point in points for word in ("--point", point)]
    done = runner.invoke(app, ["probe", "calibrate", "a3-temperature", "--room", str(room), *words])
    assert done.exit_code == 2
    assert why in done.stderr


def test_without_points_and_without_a_terminal_nobody_is_led(room: Path) -> None:
    done = runner.invoke(app, ["probe", "calibrate", "a3-ph", "--room", str(room)])
    assert done.exit_code == 2
    assert "give each --point" in " ".join(done.stderr.replace("│", " ").split())


def test_a_file_that_may_not_be_written_tells_what_to_add_by_hand(
    room: Path, tmp_path: Path
) -> None:
    # the place of the new file is taken by a folder, which stops root as well
    (tmp_path / "room.toml.part").mkdir()
    done = runner.invoke(
        app,
        ["probe", "calibrate", "a3-ph", "--room", str(room), "--at", iso(NOON),
         "--point", "4.00=4.01", "--point", "7.00=7.00"],
    )  # fmt: skip
    assert done.exit_code == 2
    assert "by hand:\n[[probe.calibrations]]\n" in done.stderr


def test_the_history_tells_slope_offset_and_how_far_it_had_strayed(room: Path) -> None:
    for at_ms, low, high in (
        (NOON, "4.05", "7.02"),
        (NOON + 30 * DAY_MS, "4.20", "7.12"),
    ):
        calibrated(
            room, "--point", f"{low}=4.01@25", "--point", f"{high}=7.00@25", "--at", iso(at_ms)
        )
    done = runner.invoke(app, ["probe", "history", "a3-ph", "--room", str(room), "--json"])
    first, second = map(json.loads, done.stdout.splitlines())
    assert first["slope_percent"] == pytest.approx(100 * 2.97 / 2.99, abs=0.1)
    assert first["found"] is None
    assert second["found"] == pytest.approx(0.10, abs=0.01)
    said = runner.invoke(app, ["probe", "history", "a3-ph", "--room", str(room)])
    assert "calibrate by" in said.stderr


def test_a_probe_there_is_not_is_a_wrong_argument(room: Path) -> None:
    done = runner.invoke(app, ["probe", "history", "z9-ph", "--room", str(room)])
    assert done.exit_code == 2
    assert "no probe 'z9-ph'" in done.stderr


# -- the room file -------------------------------------------------------------------------------

NEW = Calibration(at_ms=NOON, slope=1.03, offset=-0.21)
PROBES = [
    entry.get("id") or f"{entry['tank']}-{entry['quantity']}".lower()
    for entry in tomllib.loads(SAMPLE)["probe"]
]


@pytest.mark.parametrize("probe", PROBES)
def test_any_probe_of_the_sample_can_be_given_one_and_nothing_else_changes(probe: str) -> None:
    written = with_calibration(SAMPLE, probe, NEW)
    assert written is not None
    lines = [line for line in written.splitlines() if line not in SAMPLE.splitlines()]
    assert len(lines) <= 4
    twice = with_calibration(written, probe, Calibration(at_ms=NOON + 1000, offset=0.1))
    assert twice is not None
    assert len(tomllib.loads(twice)["probe"][PROBES.index(probe)]["calibrations"]) == (
        len(tomllib.loads(SAMPLE)["probe"][PROBES.index(probe)].get("calibrations", [])) + 2
    )


def test_calibrations_written_in_one_line_stay_in_one_line() -> None:
    text = (
        '[[probe]]\ntank = "A3"\nquantity = "ph"\ntopic = "t"\n'
        'calibrations = [{ at = "2026-01-01T00:00:00Z", offset = 0.1 }]  # by hand\n'
        '[[probe]]\ntank = "A3"\nquantity = "temperature"\ntopic = "u"\n'
    )
    written = with_calibration(text, "a3-ph", NEW)
    assert written is not None
    assert "[[probe.calibrations]]" not in written
    assert len(tomllib.loads(written)["probe"][0]["calibrations"]) == 2
    assert "# by hand" in written


def test_a_last_line_without_an_end_is_no_hindrance() -> None:
    text = '[[probe]]\ntank = "A3"\nquantity = "ph"\ntopic = "t"'
    written = with_calibration(text, "a3-ph", NEW)
    assert written is not None
    assert tomllib.loads(written)["probe"][0]["calibrations"][0]["slope"] == 1.03


def test_a_probe_the_file_does_not_have_gets_nothing() -> None:
    assert with_calibration(SAMPLE, "z9-ph", NEW) is None


def test_history_reads_the_electrode_back_from_the_line() -> None:
    # a glass with 95 % of Nernst and +10 mV at pH 7 and 25 °C (59.16 mV per pH): it would show
    # pH 7 - 10/59.16 there, so the line from shown to true is 1/0.95 and this offset
    slope = 1 / 0.95
    shown_at_7 = 7 - 10 / 59.16
    (one,) = history_of([Calibration(at_ms=0, slope=slope, offset=7 - slope * shown_at_7)])
    assert one.slope_percent == pytest.approx(95.0)
    assert one.offset_mv == pytest.approx(10.0, abs=0.01)
