"""`roewatch brood`: a brood from its start to its end, by commands to the running daemon."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from tests.service.watching import keep_hour, watching, written_room
from typer.testing import CliRunner, Result

from roewatch.room.journal import Deed
from roewatch.room.local_time import local_date
from roewatch.room.moment import DAY_MS, HOUR_MS, at_ms_of_iso, iso
from roewatch.service.cli import app
from roewatch.service.cli.brood_given import moment_given
from roewatch.service.clock import WallClock
from roewatch.service.settings.load import load_setup
from roewatch.storage.reader import Records

runner = CliRunner()
TALLINN = "Europe/Tallinn"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Path]:
    file = written_room(tmp_path)
    keep_hour(load_setup(file, {}), now_ms=WallClock().now_ms())
    with watching(file):
        yield file


def brood(room: Path, *words: str) -> Result:
    return runner.invoke(app, ["brood", *words, "--room", str(room)])


def done(room: Path, *words: str) -> list[dict[str, Any]]:
    """What the command says as JSON; it must have gone well."""
    result = brood(room, *words, "--json")
    assert result.exit_code == 0, result.output
    return [json.loads(line) for line in result.stdout.splitlines()]


def shown(room: Path, which: str = "A3") -> dict[str, Any]:
    return done(room, "show", which)[0]


def ago(span_ms: int) -> str:
    return iso(WallClock().now_ms() - span_ms)


def begun(room: Path) -> str:
    (record,) = done(
        room, "start", "A3", "--parents", "pair 3", "--light", "07:00-21:00", "--by", "Keeper",
        "--at", ago(DAY_MS),
    )  # fmt: skip
    return str(record["brood"])


def test_a_whole_brood_by_commands(room: Path) -> None:
    id_ = begun(room)
    year = local_date(WallClock().now_ms(), TALLINN).year
    assert id_ == f"{year}-1"
    seen = shown(room)
    assert (seen["species"], seen["stage"]) == ("boraras-brigittae", "conditioning")
    assert seen["plan"]["parents"] == "pair 3"
    spawned = brood(room, "spawned", "A3", "about 60", "--at", ago(20 * HOUR_MS))
    assert "eggs seen, about 60" in spawned.stdout
    assert "A3 is now in eggs" in spawned.stderr
    done(room, "parents-out", id_, "--at", ago(20 * HOUR_MS))
    done(room, "dark", id_, "--at", ago(20 * HOUR_MS))
    done(room, "count", id_, "white", "4")
    done(room, "hatched", id_, "40-50")
    done(room, "note", id_, "on the glass")
    done(room, "swimming", id_)
    done(room, "fed", id_, "infusoria")
    seen = shown(room)
    assert seen["stage"] == "fry"
    assert seen["counts"] == {"eggs": "about 60", "white": "4", "hatched": "40-50"}
    assert seen["forecast"]["hatch"]["happened"] is True
    done(room, "end", id_, "reared", "--to", "40 young")
    assert done(room, "list") == []
    (ended,) = done(room, "list", "--all")
    assert (ended["open"], ended["outcome"]) == (False, "reared")


def test_undo_redo_and_correction_keep_what_was_said(room: Path) -> None:
    id_ = begun(room)
    before = shown(room)
    (eggs,) = done(room, "spawned", id_, "60")
    done(room, "undo", id_)
    after = shown(room)
    assert {k: v for k, v in after.items() if k not in {"records", "todos"}} == {
        k: v for k, v in before.items() if k not in {"records", "todos"}
    }
    assert [r["stands"] for r in after["records"] if r["act"] == "spawned"] == [False]
    redone = brood(room, "redo", id_, eggs["id"][:8])
    assert "brought back: eggs seen, 60" in redone.stdout
    assert "A3 is now in eggs" in redone.stderr
    undone = brood(room, "undo", id_)
    assert "taken back: eggs seen, 60" in undone.stdout
    done(room, "redo", id_, eggs["id"][:8])
    assert shown(room)["stage"] == "eggs"
    (right,) = done(room, "correct", id_, eggs["id"][:8], "--count", "50-70", "--at", ago(HOUR_MS))
    assert right["replaces"] == eggs["id"]
    assert shown(room)["counts"]["eggs"] == "50-70"
    words = brood(room, "show", id_).stdout
    assert "was: eggs seen, 60" in words
    assert "put right" in words


def test_a_stage_is_changed_by_one_command_now_or_dated(room: Path) -> None:
    id_ = begun(room)
    result = brood(room, "stage", id_, "spawning", "--at", ago(2 * HOUR_MS))
    assert "A3 is now in spawning" in result.stderr
    alarms = runner.invoke(app, ["brood", "stage", id_, "asleep", "--room", str(room)])
    assert alarms.exit_code == 2


def test_a_tank_without_a_brood_is_moved_to_another_stage_as_well(room: Path) -> None:
    result = brood(room, "stage", "A3", "growing")
    assert result.exit_code == 0, result.output
    assert "A3 is now in growing" in result.stderr
    setup = load_setup(room, {})
    records = Records(setup.storage.path)
    (entry,) = records.journal("A3", 0, WallClock().now_ms() + DAY_MS)
    records.close()
    assert (entry.deed, entry.detail) == (Deed.STAGE, "growing")


def test_todos_say_what_is_late_by_their_exit_status_and_are_ticked(room: Path) -> None:
    id_ = begun(room)
    done(room, "spawned", id_, "--at", ago(3 * HOUR_MS))
    late = brood(room, "todo", "--json")
    assert late.exit_code == 1
    asked = [json.loads(line) for line in late.stdout.splitlines()]
    parents = next(one for one in asked if one["task"] == "parents-out")
    assert parents["late_h"] == pytest.approx(2.0, abs=0.1)
    assert "nplug" in parents["caution"]
    assert "LATE" in brood(room, "todo", id_).stdout
    done(room, "parents-out", id_)
    keys = [one["key"] for one in shown(room)["todos"]]
    assert parents["key"] not in keys
    todo = next(key for key in keys if "/white-eggs/" in key)
    done(room, "done", id_, todo.partition("/")[2])
    assert todo not in [one["key"] for one in shown(room)["todos"]]


def test_the_calendar_is_one_a_calendar_reads(room: Path, tmp_path: Path) -> None:
    id_ = begun(room)
    done(room, "spawned", id_, "--at", ago(3 * HOUR_MS))
    file = tmp_path / "broods.ics"
    assert brood(room, "calendar", "--to", str(file)).exit_code == 0
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert any(f"{id_} (A3)" in str(event["SUMMARY"]) for event in events)
    assert brood(room, "calendar").stdout.startswith("BEGIN:VCALENDAR")


def test_a_list_says_what_is_next(room: Path) -> None:
    begun(room)
    assert "next: " in brood(room, "list").stdout
    (listed,) = done(room, "list")
    assert listed["next"]["due"]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("show", "2026-99"), "no brood"),
        (("spawned", "A3", "lots"), "write 60"),
        (("spawned", "A3", "--at", "noonish"), "write 06:40"),
        (("end", "A3", "eaten"), "reared"),
        (("undo", "A3", "zz"), "no record begins"),
        (("done", "A3", "dance"), "there are"),
        (("correct", "A3", "zz"), "no record begins"),
        (("parents-out", "A3", "--who", "cat"), "write pair"),
    ],
)
def test_what_is_typed_wrongly_is_refused_with_a_cure(
    room: Path, words: tuple[str, ...], why: str
) -> None:
    begun(room)
    result = brood(room, *words)
    assert result.exit_code == 2
    assert why in " ".join(result.output.replace("│", " ").split())


def test_what_the_daemon_refuses_reaches_the_person(room: Path) -> None:
    begun(room)
    result = brood(room, "moved", "A3", "Z9")
    assert result.exit_code != 0
    assert "no tank 'Z9'" in str(result.exception)


def test_without_a_daemon_broods_can_be_seen_but_not_recorded(tmp_path: Path) -> None:
    file = written_room(tmp_path)
    keep_hour(load_setup(file, {}), now_ms=WallClock().now_ms())
    with watching(file):
        id_ = begun(file)
    assert shown(file, id_)["stage"] == "conditioning"
    result = brood(file, "spawned", id_)
    assert result.exit_code != 0
    assert "start it with `roewatch watch`" in str(result.exception)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("06:40", "2026-11-07T04:40:00Z"),
        ("23:10", "2026-11-06T21:10:00Z"),  # still to come today: last evening is meant
        ("2026-11-06 21:40", "2026-11-06T19:40:00Z"),
        ("2026-11-06T21:40:00Z", "2026-11-06T21:40:00Z"),
    ],
)
def test_times_are_typed_as_the_rooms_clock_shows_them(typed: str, meant: str) -> None:
    now_ms = at_ms_of_iso("2026-11-07T10:00:00Z")
    assert iso(moment_given(typed, TALLINN, now_ms)) == meant


def test_a_report_is_one_file_that_asks_for_nothing_outside(room: Path, tmp_path: Path) -> None:
    id_ = begun(room)
    done(room, "spawned", id_, "about 60", "--at", ago(3 * HOUR_MS))
    file = tmp_path / "report.html"
    assert brood(room, "report", id_, "--to", str(file)).exit_code == 0
    page = file.read_text(encoding="utf-8")
    assert id_ in page
    assert "about 60" in page
    assert 'src="http' not in page
    assert 'rel="stylesheet"' not in page
    assert brood(room, "report", id_, "--to", "report.doc").exit_code == 2


def test_a_comparison_of_few_broods_concludes_nothing(room: Path) -> None:
    for water, eggs, hatched in (("rain", "60", "50"), ("well", "60", "10"), ("rain", "40", "30")):
        (start,) = done(room, "start", "A3", "--water", water, "--at", ago(3 * DAY_MS))
        id_ = str(start["brood"])
        done(room, "spawned", id_, eggs, "--at", ago(2 * DAY_MS))
        done(room, "hatched", id_, hatched, "--at", ago(DAY_MS))
        done(room, "end", id_, "reared")
    (found,) = done(room, "compare", "--by", "water")
    assert found["concluded"] is False
    assert "Too few broods" in found["verdict"]
    assert [(g["name"], g["broods"]) for g in found["groups"]] == [("rain", 2), ("well", 1)]
    assert [g["counted"] for g in found["groups"]] == [100, 60], "as /api/comparison has it"
    assert "Too few broods" in brood(room, "compare").stdout
    assert brood(room, "compare", "--species", "danio-rerio").exit_code == 2
