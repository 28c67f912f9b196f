"""Publishing on a real broker: everything arrives once, through login and a lost connection."""

import json
import os
import socket
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Condition

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from tests.conftest import found
from typer.testing import CliRunner

from roewatch.room.moment import HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch_sim.boathouse import boathouse
from roewatch_sim.cli import app
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.payload import Board
from roewatch_sim.publish import BrokerRefusedError, Publisher

START_MS = at_ms_of_iso("2025-11-25T00:00:00Z")
WITHIN_S = 20.0

pytestmark = pytest.mark.needs("mosquitto")


class Broker:
    """A Mosquitto on a free loopback port, with a queue large enough for the test."""

    def __init__(self, folder: Path, *, password: str | None = None) -> None:
        self._folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        lines = [
            f"listener {self.port} 127.0.0.1",
            "max_queued_messages 200000",
            "max_inflight_messages 1000",
            "persistence true",
            f"persistence_location {folder}/",
        ]
        if os.geteuid() == 0:
            lines.append("user root")  # else it steps down and cannot read the test's folder
        if password is None:
            lines.append("allow_anonymous true")
        else:
            secrets = folder / "passwords"
            subprocess.run(
                ["mosquitto_passwd", "-b", "-c", str(secrets), "probes", password], check=True
            )
            lines.append(f"password_file {secrets}")
        self._config = folder / "mosquitto.conf"
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        program = found("mosquitto")
        assert program is not None
        self._process = subprocess.Popen(
            [program, "-c", str(self._config), "-v"], stderr=subprocess.PIPE
        )
        assert self._process.stderr is not None
        for line in self._process.stderr:
            if b"running" in line:
                break
        else:
            raise AssertionError("mosquitto did not start")
        # what it says later is of no interest, but a full pipe would stop it
        self._drain = subprocess.Popen(
            ["cat"], stdin=self._process.stderr, stdout=subprocess.DEVNULL
        )

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            assert self._process.stderr is not None
            self._process.stderr.close()
            self._drain.wait(10)
            self._process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    running = Broker(tmp_path)
    running.start()
    yield running
    running.stop()


class Ear:
    """A client that keeps everything it hears."""

    def __init__(self, port: int, *, password: str | None = None) -> None:
        self.heard: list[tuple[str, str]] = []
        self._news = Condition()
        self._ready = False
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="ear", clean_session=False)
        self._client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        self._client.on_subscribe = lambda *_: self._tell()
        self._client.on_message = self._hear
        self._client.reconnect_delay_set(1, 1)
        if password is not None:
            self._client.username_pw_set("probes", password)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.wait(lambda: self._ready)

    def wait(self, until: Callable[[], bool]) -> None:
        with self._news:
            assert self._news.wait_for(until, WITHIN_S), f"heard only {len(self.heard)}"

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _tell(self) -> None:
        with self._news:
            self._ready = True
            self._news.notify_all()

    def _hear(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        with self._news:
            self.heard.append((message.topic, message.payload.decode()))
            self._news.notify_all()


def test_every_sample_is_read_back_exactly_once(broker: Broker) -> None:
    room, twin = boathouse(1, START_MS), boathouse(1, START_MS)
    expected = list(Board().messages(twin.run(START_MS + 6 * HOUR_MS)))
    ear = Ear(broker.port)
    publisher = Publisher("127.0.0.1", broker.port)
    publisher.start()
    count = publisher.publish(room.run(START_MS + 6 * HOUR_MS))
    publisher.stop()
    ear.wait(lambda: len(ear.heard) >= len(expected))
    ear.close()
    assert count == sum(message.samples for message in expected) == 6 * 60 * 27
    assert Counter(ear.heard) == Counter((m.topic, m.payload) for m in expected)


def test_a_json_message_keeps_the_moment_of_the_sample_to_the_millisecond(broker: Broker) -> None:
    room = boathouse(1, START_MS)
    ear = Ear(broker.port)
    publisher = Publisher("127.0.0.1", broker.port)
    publisher.start()
    samples = [s for s in room.run(START_MS + MINUTE_MS) if s.tank == "A1"]
    publisher.publish(samples)
    publisher.stop()
    ear.wait(lambda: len(ear.heard) >= 1)
    ear.close()
    body = json.loads(ear.heard[0][1])
    assert at_ms_of_iso(body["t"]) == samples[0].at_ms
    assert {key: value for key, value in body.items() if key != "t"} == {
        str(sample.quantity): sample.value for sample in samples
    }


def test_what_is_published_while_the_broker_is_away_arrives_when_it_is_back(
    broker: Broker,
) -> None:
    room, twin = boathouse(1, START_MS), boathouse(1, START_MS)
    expected = list(Board().messages(twin.run(START_MS + HOUR_MS)))
    ear = Ear(broker.port)
    publisher = Publisher("127.0.0.1", broker.port)
    publisher.start()
    broker.stop()
    publisher.publish(room.run(START_MS + HOUR_MS))
    broker.start()
    publisher.stop()
    ear.wait(lambda: len(ear.heard) >= len(expected))
    ear.close()
    assert Counter(ear.heard) == Counter((m.topic, m.payload) for m in expected)


def test_a_wrong_password_is_refused_with_what_to_check(tmp_path: Path) -> None:
    broker = Broker(tmp_path, password="right")
    broker.start()
    try:
        publisher = Publisher("127.0.0.1", broker.port, user="probes", password="wrong")
        with pytest.raises(BrokerRefusedError, match="Check the user and the password"):
            publisher.start()
        welcome = Publisher("127.0.0.1", broker.port, user="probes", password="right")
        welcome.start()
        welcome.stop()
    finally:
        broker.stop()


def test_the_command_logs_in_and_publishes_what_it_also_writes(tmp_path: Path) -> None:
    broker = Broker(tmp_path, password="right")
    broker.start()
    secret, file = tmp_path / "secret", tmp_path / "run.csv"
    secret.write_text("right\n")
    ear = Ear(broker.port, password="right")
    try:
        result = CliRunner().invoke(
            app,
            ["--broker", f"127.0.0.1:{broker.port}", "--user", "probes",
             "--password-file", str(secret), "--csv", str(file), "--start", "2025-11-25T00:00:00Z",
             "--seconds", "0.5", "--speed", "7200", "--scenario", "power-cut"],
        )  # fmt: skip
        assert result.exit_code == 0
        twin = boathouse(1, START_MS)
        twin.inject(SimFault(FaultKind.POWER_CUT, "", START_MS + 10 * MINUTE_MS))
        samples = list(twin.run(START_MS + HOUR_MS))
        expected = Counter((m.topic, m.payload) for m in Board().messages(samples))
        ear.wait(lambda: len(ear.heard) >= expected.total())
    finally:
        ear.close()
        broker.stop()
    assert Counter(ear.heard) == expected
    assert len(file.read_text().splitlines()) == 1 + len(samples)


def test_no_broker_is_said_with_its_address(tmp_path: Path) -> None:
    port = Broker(tmp_path).port
    with pytest.raises(BrokerRefusedError, match=f"127.0.0.1:{port}"):
        Publisher("127.0.0.1", port).start()
