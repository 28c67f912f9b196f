"""A broker: a real Mosquitto of our own, on a free loopback port, to stop, kill and start again."""

import contextlib
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

USER, PASSWORD = "roewatch", "only-for-tests"
_SETTINGS = """\
per_listener_settings false
listener {port} 127.0.0.1
allow_anonymous false
password_file {folder}/passwords
persistence true
persistence_location {folder}/
autosave_interval 1
max_inflight_messages 1000
max_queued_messages 200000
log_dest file {folder}/broker.log
{more}
"""


def program(name: str) -> str:
    """Where Mosquitto's `name` is; Debian keeps the broker itself out of a user's PATH."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    if found is None:
        raise FileNotFoundError(f"{name} is not installed; apt-get install mosquitto openssl")
    return found


def free_port() -> int:
    """A loopback port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Broker:
    """Mosquitto with password file and persistence; its session store survives `stop` and `start`.

    more: further lines for its configuration. Use it as a context manager, or call `start`, `stop`.
    """

    def __init__(self, folder: Path, *, port: int | None = None, more: str = "") -> None:
        self.folder = folder
        self.host = "127.0.0.1"
        self.port = port or free_port()
        self.user, self.password = USER, PASSWORD
        folder.mkdir(parents=True, exist_ok=True)
        self._settings = folder / "mosquitto.conf"
        if os.geteuid() == 0:
            # as root it would change to its own user and lose sight of the test's folder
            more = f"user root\n{more}"
        self._settings.write_text(_SETTINGS.format(port=self.port, folder=folder, more=more))
        self.add_user(USER, PASSWORD)
        self._process: subprocess.Popen[bytes] | None = None

    def add_user(self, user: str, password: str) -> None:
        """Takes effect at the next start."""
        passwords = self.folder / "passwords"
        create = [] if passwords.exists() else ["-c"]
        subprocess.run(
            [program("mosquitto_passwd"), "-b", *create, str(passwords), user, password],
            check=True,
            capture_output=True,
        )
        passwords.chmod(0o600)

    @property
    def pid(self) -> int:
        assert self._process is not None, "the broker is not running"
        return self._process.pid

    @property
    def log(self) -> str:
        """What it has written so far."""
        path = self.folder / "broker.log"
        return path.read_text(errors="replace") if path.exists() else ""

    def start(self) -> None:
        """Returns once it listens. Raises RuntimeError with its own words if it ends instead."""
        words = self.folder / "broker.err"
        with words.open("wb") as err:
            self._process = subprocess.Popen(
                [program("mosquitto"), "-c", str(self._settings)], stdout=err, stderr=err
            )
        try:
            self._wait_until_it_listens(words)
        except BaseException:  # also when we are told to end meanwhile
            self.kill()
            raise

    def _wait_until_it_listens(self, words: Path) -> None:
        assert self._process is not None
        until = time.monotonic() + 10
        while time.monotonic() < until:
            with contextlib.suppress(OSError), socket.create_connection((self.host, self.port), 1):
                return
            with contextlib.suppress(subprocess.TimeoutExpired):
                code = self._process.wait(0.02)
                raise RuntimeError(f"mosquitto ended with {code}: {words.read_text()} {self.log}")
        raise RuntimeError(f"mosquitto does not listen on {self.port}: {self.log}")

    def stop(self) -> None:
        """A clean end (SIGTERM): it saves its sessions and queues first."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(15)
            self._process = None

    def kill(self) -> None:
        """An unclean end (SIGKILL): what was not saved in the last second is gone."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(15)
            self._process = None

    def restart(self) -> None:
        self.stop()
        self.start()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None
    ) -> None:
        self.stop()


class Publisher:
    """A plain client that publishes and waits until the broker has confirmed each message."""

    def __init__(self, broker: Broker, client_id: str = "", *, user: str = USER) -> None:
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id, protocol=MQTTProtocolVersion.MQTTv311
        )
        self._client.username_pw_set(user, broker.password)
        self._client.max_inflight_messages_set(500)
        joined = threading.Event()
        self._client.on_connect = lambda *_: joined.set()
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        if not joined.wait(10):
            raise TimeoutError("the broker did not answer the publisher")

    def publish(
        self, topic: str, *payloads: bytes | str, qos: int = 1, retain: bool = False
    ) -> None:
        """Returns when every one of them is confirmed. Raises TimeoutError after 30 s."""
        self.publish_all([(topic, payload) for payload in payloads], qos=qos, retain=retain)

    def publish_all(
        self, messages: Iterable[tuple[str, bytes | str]], *, qos: int = 1, retain: bool = False
    ) -> None:
        """The same for messages of several topics, in their order."""
        sent = [self._client.publish(topic, payload, qos, retain) for topic, payload in messages]
        for one in sent:
            if one.rc not in {MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN}:
                raise RuntimeError(f"not published: {one.rc!r}")
            one.wait_for_publish(30)
            if not one.is_published():
                raise TimeoutError("the broker did not confirm a message")

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None
    ) -> None:
        self.close()
