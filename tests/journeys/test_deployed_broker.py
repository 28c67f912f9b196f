"""The broker configuration we ship: a real Mosquitto takes it, and it lets in who it should."""

import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.journeys.broker import Broker, Publisher

from roewatch.intake.listener import BrokerSettings, Listener, Message

pytestmark = pytest.mark.needs("mosquitto")

SHIPPED = Path(__file__).parents[2] / "deploy" / "mosquitto"


class Deployed(Broker):
    """The shipped files, with only port, folder and log exchanged for the test's own."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        text = (SHIPPED / "mosquitto.conf").read_text()
        for old, new in (
            ("listener 1883 0.0.0.0", f"listener {self.port} {self.host}"),
            ("/etc/mosquitto/", f"{folder}/"),
            ("/var/lib/mosquitto/", f"{folder}/"),
            ("log_dest syslog", f"log_dest file {folder}/broker.log"),
        ):
            assert old in text
            text = text.replace(old, new)
        as_root = [line for line in self._settings.read_text().splitlines() if line == "user root"]
        self._settings.write_text("\n".join([text, *as_root]) + "\n")
        access = folder / "access.acl"
        access.write_text((SHIPPED / "access.acl").read_text())
        access.chmod(0o600)
        self.add_user("probe-a1", self.password)


@pytest.fixture
def deployed(tmp_path: Path) -> Iterator[Deployed]:
    running = Deployed(tmp_path / "broker")
    with running:
        yield running


def heard(broker: Broker, user: str, *topics: str) -> Listener:
    settings = BrokerSettings(
        host=broker.host,
        port=broker.port,
        client_id=f"as-{user}",
        username=user,
        password=broker.password,
    )
    listener = Listener(settings, topics, lambda: 0)
    listener.start()
    pause = threading.Event()
    for _ in range(500):
        if listener.hearing:
            return listener
        pause.wait(0.02)
    listener.stop()
    pytest.fail(f"{user} is not let in: {listener.link.why} {broker.log}")


def test_the_daemon_hears_a_board_under_its_own_name_and_under_no_other(
    deployed: Deployed,
) -> None:
    listener = heard(deployed, "roewatch", "boathouse/#")
    try:
        with Publisher(deployed, "board", user="probe-a1") as board:
            board.publish("boathouse/probe-b6/temp", "99")  # confirmed, and thrown away
            board.publish("boathouse/probe-a1/temp", "24.6")
        messages: list[Message] = listener.group(first_wait_s=10)
        assert [message.topic for message in messages] == ["boathouse/probe-a1/temp"]
    finally:
        listener.stop()


def test_a_board_cannot_listen_to_the_room(deployed: Deployed) -> None:
    board = heard(deployed, "probe-a1", "boathouse/#", "roewatch/#")
    try:
        with Publisher(deployed, "daemon") as daemon:
            daemon.publish("roewatch/boathouse/status", "up")
            daemon.publish("roewatch/boathouse/alarm/A1", "cold")
        assert board.group(first_wait_s=0.5) == []
    finally:
        board.stop()


def test_more_than_the_stock_thousand_wait_through_a_clean_restart(deployed: Deployed) -> None:
    heard(deployed, "roewatch", "boathouse/#").stop()
    with Publisher(deployed, "board", user="probe-a1") as board:
        board.publish("boathouse/probe-a1/temp", *(str(number) for number in range(3000)))
    deployed.restart()
    listener = heard(deployed, "roewatch", "boathouse/#")
    try:
        seen: list[bytes] = []
        while len(seen) < 3000:
            group = listener.group(first_wait_s=10)
            assert group, f"only {len(seen)} of 3000 came"
            listener.acknowledge(group)
            seen += [message.payload for message in group]
        assert seen == [b"%d" % number for number in range(3000)]
    finally:
        listener.stop()


def test_strangers_stay_outside(deployed: Deployed) -> None:
    listener = Listener(
        BrokerSettings(host=deployed.host, port=deployed.port, client_id="stranger"),
        ["#"],
        lambda: 0,
    )
    listener.start()
    try:
        pause = threading.Event()
        for _ in range(500):
            if "refused" in listener.link.why:
                break
            pause.wait(0.02)
        assert re.search("refused us: .*without a user name", listener.link.why)
    finally:
        listener.stop()
