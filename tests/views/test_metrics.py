"""The room as OpenMetrics text."""

import re

from tests.views.reader import client_of
from tests.views.room_of_glass import usual

from roewatch.views.ports import RefusedView

# one sample line as OpenMetrics 1.0 (section 5, ABNF) has it: name, labels, number
_LABEL = r'[a-zA-Z_]\w*="(?:\\["n\\]|[^"\\\n])*"'
SAMPLE = re.compile(
    rf"[a-zA-Z_:][a-zA-Z0-9_:]*(?:\{{{_LABEL}(?:,{_LABEL})*\}})? -?\d+(?:\.\d+)?(?:e-?\d+)?"
)


def test_every_line_is_as_the_standard_has_it_and_the_last_one_says_so() -> None:
    glass = usual()
    glass[1].not_read = [RefusedView(topic='odd "topic"\\\n', count=3, example="x", why="y")]
    with client_of(glass) as client:
        answer = client.get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    *lines, last = answer.text.removesuffix("\n").split("\n")
    assert last == "# EOF"
    for line in lines:
        assert line.startswith(("# TYPE ", "# HELP ", "# UNIT ")) or SAMPLE.fullmatch(line), line


def test_it_says_values_ages_alarms_and_refusals() -> None:
    glass = usual()
    glass[1].not_read = [RefusedView(topic="room/odd", count=3, example="x", why="y")]
    with client_of(glass) as client:
        text = client.get("/metrics").text
    assert re.search(r'roewatch_ph\{tank="B2",probe="b2-ph",flag="1"\} 5\.9', text)
    assert re.search(r'roewatch_temperature_celsius\{tank="A4",probe="a4-temp",flag="1"\} 24', text)
    assert 'roewatch_alarms{priority="high",state="unacknowledged"} 1\n' in text
    assert 'roewatch_payloads_refused_total{topic="room/odd"} 3\n' in text
    assert "roewatch_link_live 1\n" in text
    families = re.findall(r"# TYPE (\S+)", text)
    assert len(families) == len(set(families))
