"""Data out and back: `export`, `import`, `backup`, `restore` and `salvage`."""

import csv
import io
import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from tests.service.watching import keep_hour, watching, written_room
from typer.testing import CliRunner, Result

from roewatch.room.moment import DAY_MS, MINUTE_MS, at_ms_of_iso, iso
from roewatch.service.cli import app
from roewatch.service.mirrored import target_of
from roewatch.service.replay import read_journal, read_readings
from roewatch.service.settings.load import load_setup
from roewatch.service.settings.sections import MirrorSettings
from roewatch.storage.influx import Influx, Victoria
from roewatch.storage.reader import Records
from roewatch.storage.target import Pigeonhole, TargetDownError
from roewatch.storage.trouble import BusyStoreError, StoreError

runner = CliRunner()
NOON = at_ms_of_iso("2026-05-04T12:00:00Z")


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A room with the hour before noon kept."""
    file = written_room(tmp_path)
    keep_hour(load_setup(file, {}), now_ms=NOON)
    return file


def exported(room: Path, *words: str) -> list[dict[str, str]]:
    done = runner.invoke(app, ["export", "--room", str(room), *words])
    assert done.exit_code == 0, done.output
    return list(csv.DictReader(io.StringIO(done.stdout)))


def kept(room: Path) -> int:
    records = Records(load_setup(room, {}).storage.path)
    try:
        return records.counts()["readings"]
    finally:
        records.close()


def test_csv_goes_to_stdout_and_talk_to_stderr(room: Path) -> None:
    done = runner.invoke(app, ["export", "--room", str(room)])
    assert done.stdout.startswith("time,tank,quantity,probe,raw,value,flag\n")
    assert done.stdout.count("\n") == 121
    assert done.stderr == "120 readings of 2 probes\n"


def test_only_what_is_asked_for_goes_out(room: Path) -> None:
    rows = exported(
        room, "--quantity", "ph", "--tank", "A3",
        "--from", iso(NOON - 10 * MINUTE_MS), "--to", iso(NOON - 5 * MINUTE_MS),
    )  # fmt: skip
    assert [row["quantity"] for row in rows] == ["ph"] * 5
    assert rows[0]["time"] == "2026-05-04T11:50:00Z"


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--tank", "Z9"], "no tank 'Z9'; there are: A3, room"),
        (["--quantity", "colour"], "no quantity 'colour'"),
        (["--from", "yesterday"], "yesterday"),
        (["--from", "2026-05-04T12:00:00"], "has no time zone"),
        (["--out", "day.xls"], "neither .csv nor .parquet"),
        (["--verify-mirror"], "no mirror"),
    ],
)
def test_what_cannot_be_exported_is_refused_with_2(room: Path, words: list[str], why: str) -> None:
    done = runner.invoke(app, ["export", "--room", str(room), *words])
    assert done.exit_code == 2
    assert why in " ".join(done.stderr.replace("│", " ").split())


@pytest.mark.parametrize("name", ["day.csv", "day.parquet"])
def test_an_export_is_what_replay_reads(room: Path, tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    assert exported(room, "--out", str(file)) == []
    read = read_readings(file, load_setup(room, {}).room)
    assert len(read.readings) == 120
    assert not read.refused


def test_the_journal_goes_out_as_replay_reads_it(room: Path, tmp_path: Path) -> None:
    journal = tmp_path / "journal.csv"
    with watching(room) as watch:
        entry = read_journal(_journal(tmp_path), load_setup(room, {}).room)[0]
        watch.enter(entry)
    exported(room, "--out", str(tmp_path / "day.csv"), "--journal", str(journal))
    assert read_journal(journal, load_setup(room, {}).room) == [entry]


def _journal(folder: Path) -> Path:
    file = folder / "given.csv"
    file.write_text(
        "time,tank,event,until,detail\n"
        '2026-05-04T11:00:00Z,A3,water-change,2026-05-04T11:20:00Z,"a third, with rain"\n'
    )
    return file


def test_what_went_out_comes_in_again_once(room: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    exported(room, "--out", str(file))
    (tmp_path / "second").mkdir()
    second = written_room(tmp_path / "second")
    for new, known in ((120, 0), (0, 120)):
        done = runner.invoke(app, ["import", str(file), "--room", str(second), "--json"])
        assert done.exit_code == 0, done.output
        assert json.loads(done.stdout) == {"rows": 120, "new": new, "known": known, "refused": 0}
    assert kept(second) == 120


def test_each_refused_row_is_told_with_its_line_and_why(room: Path, tmp_path: Path) -> None:
    file, report = tmp_path / "old.csv", tmp_path / "refused.txt"
    file.write_text(
        "time,tank,quantity,value\n"
        "2026-05-01T12:00:00Z,A3,ph,6.1\n"
        "2026-05-01T12:01:00Z,C9,ph,6.1\n"
        "2026-05-01T12:02:00Z,A3,ph,wet\n"
        "noon,A3,ph,6.1\n"
    )
    words = ["import", str(file), "--room", str(room), "--refused", str(report)]
    done = runner.invoke(app, words)
    assert done.exit_code == 1
    assert done.stdout == "4 rows, 1 new, 0 known, 3 refused\n"
    said = report.read_text().splitlines()
    assert said == done.stderr.splitlines()
    assert said[0].startswith("line 3: no probe for ph in tank 'C9'")
    assert "line 4: value 'wet' is not a number" in said[1]
    assert said[2].startswith("line 5:")


def test_a_file_without_the_columns_is_no_import(room: Path, tmp_path: Path) -> None:
    file = tmp_path / "other.csv"
    file.write_text("a,b\n1,2\n")
    done = runner.invoke(app, ["import", str(file), "--room", str(room)])
    assert done.exit_code == 2
    assert "a header needs time" in " ".join(done.stderr.replace("│", " ").split())


def test_bringing_in_beside_a_running_daemon_is_refused(room: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    exported(room, "--out", str(file))
    with watching(room):
        done = runner.invoke(app, ["import", str(file), "--room", str(room)])
    assert isinstance(done.exception, BusyStoreError)


def test_a_backup_is_made_beside_the_running_daemon_and_put_back(
    room: Path, tmp_path: Path
) -> None:
    saved = tmp_path / "saved.db"
    with watching(room):
        done = runner.invoke(app, ["backup", str(saved), "--room", str(room), "--json"])
        busy = runner.invoke(app, ["restore", str(saved), "--room", str(room)])
    assert json.loads(done.stdout)["readings"] == 120
    assert isinstance(busy.exception, BusyStoreError)
    store = load_setup(room, {}).storage.path
    store.unlink()
    done = runner.invoke(app, ["restore", str(saved), "--room", str(room)])
    assert done.exit_code == 0, done.output
    assert kept(room) == 120


def test_restoring_keeps_the_store_that_was_there(room: Path, tmp_path: Path) -> None:
    saved = tmp_path / "saved.db"
    runner.invoke(app, ["backup", str(saved), "--room", str(room)])
    done = runner.invoke(app, ["restore", str(saved), "--room", str(room), "--json"])
    before = json.loads(done.stdout)["before"]
    assert Path(before).is_file()


def test_a_backup_over_a_file_is_refused(room: Path, tmp_path: Path) -> None:
    (tmp_path / "saved.db").write_text("precious")
    done = runner.invoke(app, ["backup", str(tmp_path / "saved.db"), "--room", str(room)])
    assert isinstance(done.exception, StoreError)
    assert (tmp_path / "saved.db").read_text() == "precious"


def test_a_spoilt_backup_is_found_by_check(room: Path, tmp_path: Path) -> None:
    saved = tmp_path / "saved.db"
    runner.invoke(app, ["backup", str(saved), "--room", str(room)])
    assert runner.invoke(app, ["restore", str(saved), "--check"]).exit_code == 0
    whole = saved.read_bytes()
    saved.write_bytes(whole[: len(whole) // 2])
    done = runner.invoke(app, ["restore", str(saved), "--check"])
    assert done.exit_code in {1, 2} or isinstance(done.exception, StoreError)


def test_salvage_brings_a_stores_readings_into_a_new_one(room: Path, tmp_path: Path) -> None:
    old = tmp_path / "damaged.db"
    load_setup(room, {}).storage.path.rename(old)
    done = runner.invoke(app, ["salvage", str(old), "--room", str(room), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["readings"] == 120
    assert kept(room) == 120


# -- the mirror's other end ----------------------------------------------------------------------


@pytest.fixture
def mirrored(room: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Pigeonhole]:
    """The room with a mirror that has nothing yet."""
    text = room.read_text().replace("[broker]", "[mirror]\nenabled = true\n[broker]", 1)
    room.write_text(text)
    target = Pigeonhole()
    monkeypatch.setattr("roewatch.service.mirrored.target_of", lambda *_: target)
    return room, target


def verified(room: Path) -> Result:
    words = ["export", "--verify-mirror", "--json", "--room", str(room)]
    span = ["--from", iso(NOON - DAY_MS), "--to", iso(NOON)]
    return runner.invoke(app, [*words, *span])


def test_a_mirror_that_lacks_a_day_is_found_out(mirrored: tuple[Path, Pigeonhole]) -> None:
    done = verified(mirrored[0])
    assert done.exit_code == 1
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert rows == [
        {"probe": "a3-temperature", "day": "2026-05-04", "here": 60, "there": 0},
        {"probe": "a3-ph", "day": "2026-05-04", "here": 60, "there": 0},
    ]


def test_a_mirror_that_has_everything_is_equal(mirrored: tuple[Path, Pigeonhole]) -> None:
    room, target = mirrored
    setup = load_setup(room, {})
    records = Records(setup.storage.path)
    for probe in setup.room.probes:
        target.take([(probe, cells) for cells in records.chunks(probe.id, 0, NOON)])
    records.close()
    done = verified(room)
    assert (done.exit_code, done.stdout) == (0, "")
    assert "2 days of 2 probes compared" in done.stderr


def test_which_kind_of_mirror_answers_is_seen_at_its_address() -> None:
    class Either(BaseHTTPRequestHandler):
        def do_GET(self) -> None:  # the library's name
            self.send_response(200)
            self.end_headers()
            # as each documents it: InfluxDB 2 with its name and state, VictoriaMetrics with a word
            known = b'{"name":"influxdb","message":"ready for queries and writes","status":"pass"}'
            self.wfile.write(known if self.path.startswith("/influx") else b"OK")

        def log_message(self, format: str, *args: object) -> None: ...  # noqa: A002

    with ThreadingHTTPServer(("127.0.0.1", 0), Either) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        url = f"http://127.0.0.1:{server.server_port}"
        assert isinstance(target_of(MirrorSettings(url=url), "boathouse"), Victoria)
        other = target_of(MirrorSettings(url=f"{url}/influx"), "boathouse")
        assert type(other) is Influx
        server.shutdown()


def test_a_mirror_that_is_not_there_is_said_in_words() -> None:
    with pytest.raises(TargetDownError, match="cannot be reached"):
        target_of(MirrorSettings(url="http://127.0.0.1:1"), "boathouse")
