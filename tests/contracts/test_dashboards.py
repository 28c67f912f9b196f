"""The shipped dashboards ask only for what the mirror writes; a real server takes their words."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.contracts.victoria import VictoriaServer

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.breeding.count import Count, Counted
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.tank import Probe
from roewatch.storage.cell import cell_of
from roewatch.storage.day import cells_of
from roewatch.storage.influx import Influx, Victoria
from roewatch.storage.line import (
    Event,
    event_line,
    event_of_change,
    event_of_entry,
    event_of_record,
    reading_lines,
)

DEPLOY = Path(__file__).parents[2] / "deploy"
AT = 19_723 * DAY_MS  # 2024-01-01
PROBE = Probe(id="a1-ph", tank="A1", quantity=Quantity.PH, every_ms=5000)
ALARM = Alarm(
    number=1, key="A1/below-window/ph", episode=1, tank="A1", kind=Kind.BELOW_WINDOW,
    quantity=Quantity.PH, probe=None, priority=Priority.HIGH, state=State.UNACKNOWLEDGED,
    present=True, raised_ms=AT, since_ms=AT, changed_ms=AT, message="pH 4.9",
)  # fmt: skip
EGGS = BroodRecord(
    id="r1", brood="2024-1", at_ms=AT, made_ms=AT, act=BroodAct.COUNTED,
    counted=Counted.EGGS, count=Count(low=50, high=70),
)  # fmt: skip
EVENTS: tuple[Event, ...] = (
    event_of_change(1, AlarmChange(at_ms=AT, alarm=ALARM, before=State.NORMAL)),
    event_of_entry(2, JournalEntry(at_ms=AT, tank="A1", deed=Deed.NOTE, detail="fed")),
    event_of_record(3, EGGS),
)
CELLS = cells_of([(AT, cell_of(6.5), 1)])


def written() -> dict[str, tuple[set[str], set[str]]]:
    """By measurement, the tags and fields of the lines the mirror really writes."""
    lines = [*reading_lines("boathouse", PROBE, CELLS)]
    lines += [event_line("boathouse", event) for event in EVENTS]
    found = {}
    for line in lines:
        head, fields, _ = re.split(r"(?<!\\) (?=[\w\d])", re.sub(r'"[^"]*"', '""', line))
        measurement, *tags = head.split(",")
        names = {pair.split("=")[0] for pair in fields.split(",")}
        found[measurement] = ({tag.split("=")[0] for tag in tags}, names)
    return found


WRITTEN = written()


def asked(name: str) -> Iterator[str]:
    """Every query of a dashboard: of panels, annotations and variables."""

    def within(part: Any) -> Iterator[str]:
        if isinstance(part, list):
            for one in part:
                yield from within(one)
        elif isinstance(part, dict):
            for key, value in part.items():
                if key in {"query", "expr", "definition"} and isinstance(value, str):
                    yield value
                yield from within(value)

    board = json.loads((DEPLOY / "dashboards" / f"{name}.json").read_text(encoding="utf-8"))
    yield from (text for text in within(board) if re.search(r"\W", text))


def test_the_mirror_writes_what_its_page_says() -> None:
    page = (DEPLOY / "mirror.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| (.*) \| (.*) \|$", page, re.MULTILINE)
    said = {
        name: (set(re.findall(r"`(\w+)`", tags)), set(re.findall(r"`(\w+)`", fields)))
        for name, tags, fields in rows
    }
    assert said == WRITTEN
    assert all(f"`{quantity}`" in page for quantity in KEPT)


def test_every_flux_query_names_measurements_tags_and_fields_there_are() -> None:
    queries = list(asked("influxdb"))
    assert len(queries) >= 10
    for query in queries:
        (measurement,) = re.findall(r'r\._measurement == "(\w+)"', query)
        tags, fields = WRITTEN[measurement]
        assert set(re.findall(r'r\._field == "(\w+)"', query)) <= fields, query
        assert set(re.findall(r"\br\.([a-z]\w*)", query)) <= tags, query
        for listed in re.findall(r"columns: \[(.*?)\]", query):
            named = set(re.findall(r'"(\w+)"', listed))
            assert named <= tags | {"_time", "_value"}, query
        assert set(re.findall(r'tag: "(\w+)"', query)) <= tags, query


def test_every_prometheus_style_query_names_series_and_labels_there_are() -> None:
    queries = list(asked("victoriametrics"))
    assert len(queries) >= 10
    series = {
        f"{name}_{field}": tags for name, (tags, fields) in WRITTEN.items() for field in fields
    }
    for query in queries:
        (metric,) = re.findall(r"\b((?:reading|alarm|journal)_\w+)", query)
        tags = series[metric]
        assert not metric.endswith("_text"), "this store keeps numbers only"
        labels = set(re.findall(r"(\w+)\s*=~?\s*\"", query))
        labels |= set(re.findall(r"label_values\(.*, (\w+)\)", query))
        labels |= {name for by in re.findall(r"by \((.*?)\)", query) for name in by.split(", ")}
        assert labels <= tags, query


@pytest.mark.parametrize("name", ["influxdb", "victoriametrics"])
def test_only_quantities_kinds_and_priorities_there_are_are_asked_for(name: str) -> None:
    for query in asked(name):
        for quantity in re.findall(r'quantity\s*=+\s*"(\w+)"', query):
            assert quantity in set(Quantity)
        for priorities in re.findall(r"priority\s*=~\s*\W+([\w|]+)", query):
            assert set(priorities.split("|")) <= set(Priority)


@pytest.mark.parametrize("name", ["influxdb", "victoriametrics"])
def test_legends_and_titles_name_tags_there_are(name: str) -> None:
    text = (DEPLOY / "dashboards" / f"{name}.json").read_text(encoding="utf-8")
    every = set().union(*(tags for tags, _ in WRITTEN.values()))
    named = re.findall(r"\{\{(\w+)\}\}|__field\.labels\.(\w+)", text)
    assert {a or b for a, b in named} <= every
    assert {"tank", "probe"} <= {a or b for a, b in named}


@pytest.mark.needs("victoria-metrics")
def test_a_real_server_answers_every_prometheus_style_query(victoria: VictoriaServer) -> None:
    target = Victoria(url=victoria.url, org="", bucket="", token="", room="dashboard")
    target.take([(PROBE, CELLS)], EVENTS)
    victoria.flush()
    answers = {}
    for query in asked("victoriametrics"):
        if query.startswith("label_values"):
            continue
        plain = query.replace("$room", "dashboard").replace("$__interval", "1m")
        plain = re.sub(r"\$(tank|quantity)", ".*", plain)
        plain = plain.replace('quantity="temperature"', 'quantity="ph"')
        found = target.ask("/api/v1/query", query=plain, time=str(AT // 1000 + 10), nocache="1")
        answers[query] = json.loads(found.data)["data"]["result"]
    target.close()
    assert len(answers) >= 8
    assert all(answers.values()), "every panel and annotation shows what was mirrored"


@pytest.mark.needs("docker")
def test_a_real_server_answers_every_flux_query(influx_server: dict[str, str]) -> None:
    target = Influx(**influx_server, room="dashboard")
    target.take([(PROBE, CELLS)], EVENTS)
    v = (
        "option v = {timeRangeStart: 2024-01-01T00:00:00Z, timeRangeStop: 2024-01-01T01:00:00Z,"
        " windowPeriod: 1m}\n"
    )
    answers = {}
    for query in asked("influxdb"):
        if "schema.tagValues" in query:
            continue
        plain = query.replace("${bucket}", influx_server["bucket"]).replace("${room}", "dashboard")
        plain = re.sub(r"\$\{(tank|quantity):pipe\}", ".*", plain)
        plain = plain.replace('r.quantity == "temperature"', 'r.quantity == "ph"')
        answers[query] = target.rows(v + plain)
    target.close()
    assert len(answers) >= 8
    assert all(answers.values()), "every panel and annotation shows what was mirrored"
