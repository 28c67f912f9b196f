"""The daemon left alone: its beat, its word on the broker, settings and stages that change.

Real broker, real watcher, the daemon with all its threads.
"""

import json
import os
import signal
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from tests.journeys.boathouse import FastClock
from tests.journeys.broker import PASSWORD, USER, Broker, Publisher
from tests.journeys.house import House, message, now_ms, wait_until
from tests.journeys.receivers import WebhookReceiver

from roewatch.alarms.notice import About, Outcome
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS
from roewatch.room.stage import Stage
from roewatch.service.daemon import Daemon
from roewatch.service.deeds import Hands
from roewatch.service.settings.load import load_setup

SPEED = 20.0  # a beat every 10 s of the daemon's time is one every half second of ours
PERIOD_S = 0.5


class Watcher:
    """The outside watcher: counts who asks."""

    def __init__(self) -> None:
        self.asked = 0
        watcher = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                watcher.asked += 1
                self.send_response(204)
                self.end_headers()

            def log_message(self, *_: object) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/beat"
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@pytest.fixture
def watcher() -> Iterator[Watcher]:
    found = Watcher()
    yield found
    found.close()


class Running:
    """A daemon in this process."""

    def __init__(self, house: House, watcher: Watcher) -> None:
        env = {"ROEWATCH_HEARTBEAT__URL": watcher.url, "ROEWATCH_HEARTBEAT__EVERY": "10 s"}
        self.phone: list[object] = []
        setup = load_setup(house.room, env)
        channel = _Kept(self.phone)
        self.clock = FastClock(now_ms() - DAY_MS, SPEED)
        self.daemon = Daemon(
            setup,
            {way.name: channel for way in setup.ways},
            clock=self.clock,
            read_again=lambda: load_setup(house.room, env),
        )
        self._thread = threading.Thread(target=self._run)
        self._ready = threading.Event()

    def _run(self) -> None:
        self.daemon.run(lambda _: self._ready.set())

    def __enter__(self) -> "Running":
        self._thread.start()
        assert self._ready.wait(30)
        return self

    def __exit__(self, *_: object) -> None:
        self.daemon.stop.set()
        self._thread.join(30)
        assert not self._thread.is_alive()


class _Kept:
    def __init__(self, got: list[object]) -> None:
        self._got = got

    def send(self, notice: object) -> None:
        self._got.append(notice)


def retained(broker: Broker, topic: str) -> dict[str, object]:
    """What the broker keeps on a topic."""
    got: list[bytes] = []
    heard = threading.Event()
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set(USER, PASSWORD)

    def came(_client: Client, _: object, found: MQTTMessage) -> None:
        got.append(bytes(found.payload))
        heard.set()

    client.on_message = came
    client.connect(broker.host, broker.port)
    client.subscribe(topic, 1)
    client.loop_start()
    try:
        assert heard.wait(10), f"nothing is kept on {topic}"
    finally:
        client.disconnect()
        client.loop_stop()
    said = json.loads(got[-1])
    assert isinstance(said, dict)
    return said


@pytest.mark.needs("mosquitto")
def test_the_outside_hears_a_beat_and_misses_it_while_the_broker_is_away(
    tmp_path: Path, broker: Broker, watcher: Watcher
) -> None:
    house = House(tmp_path / "house", broker, ways=[("Keeper", "phone", "http://127.0.0.1:1/x")])
    with Running(house, watcher) as running:
        wait_until(lambda: watcher.asked >= 3, "three beats have arrived")
        assert running.daemon.parts is not None
        said = retained(broker, "roewatch/house/status")
        assert said["state"] == "watching"
        assert {"since", "version", "counts"} <= said.keys()
        broker.stop()
        wait_until(lambda: not running.daemon.parts.watch.link.connected, "the link is down")  # type: ignore[union-attr]
        threading.Event().wait(PERIOD_S)  # a beat that had passed the broker may still arrive
        before = watcher.asked
        threading.Event().wait(4 * PERIOD_S)
        assert watcher.asked == before
        broker.start()
        wait_until(lambda: watcher.asked > before, "it beats again")
    assert retained(broker, "roewatch/house/status")["state"] == "stopped"


@pytest.mark.needs("mosquitto")
def test_a_test_goes_by_a_real_broker_and_comes_out_with_a_receipt(
    tmp_path: Path, broker: Broker, watcher: Watcher
) -> None:
    house = House(tmp_path / "house", broker, ways=[("Keeper", "phone", "http://127.0.0.1:1/x")])
    with Running(house, watcher) as running:
        assert running.daemon.parts is not None
        watch = running.daemon.parts.watch
        wait_until(lambda: watcher.asked > 0, "the way is open")
        test = watch.test_path()
        receipts = test.wait_receipts(10)
        assert [receipts[notice.id].outcome for notice in test.notices] == [Outcome.TAKEN]
        assert [notice.about for notice in test.notices] == [About.TEST]
        assert running.phone


@pytest.mark.needs("mosquitto")
def test_new_settings_are_taken_over_and_faulty_ones_are_not(
    tmp_path: Path, broker: Broker, watcher: Watcher
) -> None:
    ways = [("Keeper", "phone", "http://127.0.0.1:1/x")]
    house = House(tmp_path / "house", broker, tanks=("A1",), ways=ways)
    with Running(house, watcher) as running, Publisher(broker, "probes") as probes:
        parts = running.daemon.parts
        assert parts is not None
        wait_until(lambda: watcher.asked > 0, "the way is open")
        hands = Hands(parts.watch)
        hands.enter(
            JournalEntry(at_ms=running.clock.now_ms(), tank="A1", deed=Deed.STAGE, detail="fry")
        )
        at_ms = running.clock.now_ms()
        probes.publish("house/a1/temperature", message(at_ms, 26.0))
        wait_until(lambda: parts.watch.counts.kept == 1, "it is kept")

        text = house.room.read_text()
        house.room.write_text(text.replace('quantity = "temperature"', 'quantity = "warmth"'))
        assert not parts.reload()
        # the same file with a second tank
        House(tmp_path / "house", broker, tanks=("A1", "A2"), ways=ways)
        assert parts.reload()
        assert [tank.id for tank in parts.watch.room.tanks] == ["A1", "A2"]
        assert parts.watch.room.tank("A1").stage is Stage.FRY, "the journal's word still holds"
        wait_until(lambda: parts.watch.link.connected, "it listens again")
        before = watcher.asked
        wait_until(lambda: watcher.asked > before, "and hears itself")
        probes.publish("house/a2/temperature", message(at_ms, 26.0))
        probes.publish("house/a1/temperature", message(at_ms + 1000, 26.1))
        wait_until(lambda: parts.watch.counts.kept == 3, "both are kept")
        assert parts.watch.refusals.total == 0


@pytest.mark.needs("mosquitto")
def test_a_hangup_reloads_the_running_daemon(
    tmp_path: Path, broker: Broker, phone: WebhookReceiver
) -> None:
    ways = [("Keeper", "phone", phone.url)]
    house = House(tmp_path / "house", broker, tanks=("A1",), ways=ways)
    house.start()
    try:
        second = House(tmp_path / "house", broker, tanks=("A1", "A2"), ways=ways)
        assert second.room == house.room
        os.kill(house.pid, signal.SIGHUP)
        wait_until(lambda: "settings_reloaded tanks=2" in house.log, "it says so")
        wait_until(lambda: house.log.count("broker_connected") >= 2, "it listens anew")
        with Publisher(broker, "probes") as probes:
            probes.publish("house/a2/temperature", message(now_ms(), 26.0))
        wait_until(lambda: house.readings_kept() == 1, "the new tank is heard")
    finally:
        house.stop()
