"""`roewatch check --live` against a real broker: who speaks, who is silent, what cannot be read."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.journeys.broker import Broker, Publisher

from roewatch.room.moment import at_ms_of_iso
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.settings.trial import Tried, broker_trial

NOW_MS = at_ms_of_iso("2026-03-01T12:00:00Z")
ROOM = """
[room]
name = "Boathouse"
timezone = "UTC"
[[tank]]
id = "A1"
litres = 20.0
[[probe]]
tank = "A1"
quantity = "temperature"
topic = "b/a1/water"
format = "json"
pointer = "/temperature"
time_pointer = "/t"
[[probe]]
tank = "A1"
quantity = "ph"
topic = "b/a1/ph"
format = "json"
pointer = "/value"
[[probe]]
tank = "A1"
quantity = "oxygen"
topic = "b/a1/oxygen"
[[contact]]
name = "Keeper"
ways = [{ name = "phone", url = "http://127.0.0.1:9/" }]
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with Broker(tmp_path / "broker") as started:
        yield started


def setup_at(folder: Path, broker: Broker, **env: str) -> Setup:
    (folder / "room.toml").write_text(ROOM, encoding="utf-8")
    wanted = {
        "ROEWATCH_BROKER__PORT": str(broker.port),
        "ROEWATCH_BROKER__USERNAME": broker.user,
        "ROEWATCH_BROKER__PASSWORD": broker.password,
    }
    return load_setup(folder / "room.toml", wanted | env)


def leave(broker: Broker, topic: str, payload: str) -> None:
    """Put a retained message there, so that the visit meets it without any waiting."""
    with Publisher(broker) as publisher:
        publisher.publish(topic, payload, retain=True)


def tried(setup: Setup) -> dict[tuple[str, str], Tried]:
    return {(t.part, t.name): t for t in broker_trial(1.5, lambda: NOW_MS)(setup)}


@pytest.mark.needs("mosquitto")
def test_each_probe_is_heard_refused_or_silent(tmp_path: Path, broker: Broker) -> None:
    water = json.dumps({"t": "2026-03-01T11:59:30Z", "temperature": 24.6})
    leave(broker, "b/a1/water", water)
    leave(broker, "b/a1/ph", "{oops")
    found = tried(setup_at(tmp_path, broker))
    assert found["broker", f"127.0.0.1:{broker.port}"].good
    assert found["probe", "all"].says == "1 of 3 probes spoke"
    refused = found["probe", "b/a1/ph"]
    assert not refused.good
    assert "1 refused on b/a1/ph" in refused.says
    assert "{oops" in refused.says
    silent = found["probe", "a1-oxygen"]
    assert not silent.good
    assert "nothing on b/a1/oxygen within 1.5 s" in silent.says


@pytest.mark.needs("mosquitto")
def test_a_wrong_password_is_told_as_such(tmp_path: Path, broker: Broker) -> None:
    (only,) = tried(setup_at(tmp_path, broker, ROEWATCH_BROKER__PASSWORD="guessed")).values()
    assert not only.good
    assert "refuses us" in only.says
    assert "check username, password" in only.says
    assert "guessed" not in only.says
