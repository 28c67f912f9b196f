"""The service manager hears that the daemon is ready, that it lives, and that it stops."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.journeys.broker import Broker
from tests.journeys.house import House, wait_until


class Manager:
    """What systemd is to the daemon: a datagram socket."""

    def __init__(self, path: Path) -> None:
        self._line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._line.bind(str(path))
        self._line.setblocking(False)
        self._words: list[str] = []

    def words(self) -> list[str]:
        """All it was told so far."""
        while True:
            try:
                self._words.append(self._line.recv(200).decode())
            except BlockingIOError:
                return self._words

    def close(self) -> None:
        self._line.close()


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Manager]:
    path = tmp_path / "notify"
    found = Manager(path)
    monkeypatch.setenv("NOTIFY_SOCKET", str(path))
    monkeypatch.setenv("WATCHDOG_USEC", "1500000")  # so it beats every half second
    yield found
    found.close()


@pytest.mark.needs("mosquitto")
def test_it_is_told_of_the_start_of_each_beat_and_of_the_end(
    tmp_path: Path, broker: Broker, manager: Manager
) -> None:
    house = House(tmp_path / "house", broker, ways=[("Keeper", "phone", "http://127.0.0.1:1/x")])
    house.start()
    try:
        wait_until(lambda: manager.words().count("WATCHDOG=1") >= 3, "three beats came through")
        assert manager.words()[0] == "READY=1"
        broker.stop()
        wait_until(lambda: "broker_link" in house.log, "the link is down")
        before = manager.words().count("WATCHDOG=1")
        wait_until(
            lambda: manager.words().count("WATCHDOG=1") >= before + 3,
            "it lives on, for a restart would not bring the broker back",
        )
    finally:
        house.stop()
    assert manager.words()[-1] == "STOPPING=1"
