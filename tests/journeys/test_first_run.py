"""From a room file with a name in it to a watched tank, by the pages alone and a real broker."""

import contextlib
import threading
import tomllib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from tests.journeys.broker import Broker
from tests.journeys.house import wait_until
from tests.journeys.receivers import WebhookReceiver
from tests.views.reader import Forms, words

from roewatch.outbox.channel import channel_of
from roewatch.service.daemon import Daemon
from roewatch.service.port import free_port
from roewatch.service.settings.load import load_setup

ROOM = """## the keeper's own words
[room]
name = "The Boathouse"  ## kept
timezone = "Europe/Tallinn"
[web]
port = {port}
[telling]
high_wait = "0.001 s"
group_wait = "0.001 s"
[[contact]]
name = "Keeper"
[[contact.ways]]
name = "phone"
url = "{phone}"
[broker]
port = {nobody}
"""


@contextlib.contextmanager
def daemon_of(room: Path) -> Iterator[Daemon]:
    setup = load_setup(room, {})
    daemon = Daemon(setup, {way.name: channel_of(way) for way in setup.ways})
    ready = threading.Event()
    thread = threading.Thread(target=daemon.run, args=(lambda _: ready.set(),))
    thread.start()
    try:
        assert ready.wait(20)
        yield daemon
    finally:
        daemon.stop.set()
        thread.join(20)
        assert not thread.is_alive()


@contextlib.contextmanager
def voice(broker: Broker) -> Iterator[Client]:
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set(broker.user, broker.password)
    client.connect(broker.host, broker.port)
    client.loop_start()
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


class Keeper:
    """Somebody with a browser who fills in forms."""

    def __init__(self, base: str) -> None:
        self.client = httpx.Client(base_url=base, follow_redirects=True, timeout=60)

    def reads(self, address: str) -> str:
        return words(self.client.get(address).text)

    def does(self, page: str, action: str, **fields: str) -> str:
        form = Forms(self.client.get(page).text)[action]
        answer = self.client.post(action, data=form | fields)
        assert answer.status_code == 200, words(answer.text)
        return words(answer.text)


@pytest.mark.needs("mosquitto")
def test_a_nearly_empty_room_becomes_a_watched_tank(
    tmp_path: Path, broker: Broker, phone: WebhookReceiver
) -> None:
    room, port = tmp_path / "room.toml", free_port()
    room.write_text(ROOM.format(port=port, phone=phone.url, nobody=free_port()), encoding="utf-8")
    with daemon_of(room) as daemon, voice(broker) as says:
        keeper = Keeper(f"http://127.0.0.1:{port}")
        assert "Set the room up" in keeper.reads("/")
        assert "no link" in keeper.reads("/setup")
        keeper.does(
            "/setup", "/setup/broker",
            host=broker.host, port=str(broker.port), username=broker.user,
            password=broker.password,
        )  # fmt: skip
        wait_until(lambda: "connected" in keeper.reads("/setup"), "there is a link")
        keeper.does("/setup", "/setup/rack", rack="B", shelf1="2", shelf2="1", litres="20")
        keeper.does("/setup", "/setup/listen")

        def speaks(celsius: float) -> str:
            for topic, value in (("cold/1", 24.0), ("warm/2", celsius)):
                says.publish(f"house/{topic}/temperature", f"{value} C").wait_for_publish(10)
            return keeper.reads("/setup")

        wait_until(lambda: "house/warm/2" in speaks(24.1), "both topics are seen")
        assert "this one is warm" not in keeper.reads("/setup")
        wait_until(lambda: "this one is warm: house/warm/2" in speaks(27.0), "the hand is seen")
        keeper.does(
            "/setup", "/setup/tie",
            key="house/warm/2/temperature", tank="B2", quantity="temperature",
        )  # fmt: skip
        keeper.does(
            "/setup", "/setup/tank",
            tank="B2", species="boraras-brigittae", stage="conditioning",
        )  # fmt: skip

        def read() -> bool:
            speaks(27.0)
            return "27.0" in keeper.reads("/tank/B2")

        wait_until(read, "the tank is watched")
        assert "window" in keeper.reads("/tank/B2")
        assert "water change, 15 %, recorded" in keeper.does("/tank/B2", "/records")
        undone = keeper.does("/tank/B2", "/records/1/withdraw")
        assert "water change, 15 %, withdrawn" in undone
        assert "withdrawn" in keeper.reads("/records?tank=B2")
        moved = keeper.does("/move?tank=B2", "/place", tank="B2", rack="B", spot="2/1")
        assert "B2 stands in rack B, shelf 2, place 1." in moved
        assert "Keeper/phone: taken" in keeper.does("/setup", "/setup/test")
        assert phone.got, "it stands on the phone"
        more = keeper.does(
            "/contacts", "/contacts", name="Night watch", way="siren", url=f"{phone.url}?who=night",
        )  # fmt: skip
        assert "Night watch is told from now on." in more
        tested = keeper.does("/contacts", "/setup/test")
        assert "Night watch/siren: taken" in tested, "without a start in between"
        assert "?who=night" not in keeper.client.get("/contacts").text
        assert daemon.parts is not None

    written = room.read_text(encoding="utf-8")
    assert written.startswith("## the keeper's own words")
    assert "## kept" in written
    tanks = {tank["id"]: tank for tank in tomllib.loads(written)["tank"]}
    assert (tanks["B2"]["shelf"], tanks["B2"]["place"]) == (2, 1)
    assert (tanks["B3"]["shelf"], tanks["B3"]["place"]) == (1, 2), "they changed places"
    assert tanks["B2"]["species"] == "boraras-brigittae"
    assert not list(tmp_path.glob("*.part")) + list(tmp_path.glob(".*trial"))
