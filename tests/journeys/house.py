"""A house: a room file for real parts, and the daemon as the process a keeper would run."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from tests.journeys.broker import Broker, free_port

ROOT = Path(__file__).parents[2]

_READINGS = "SELECT (SELECT count(*) FROM hot) + (SELECT ifnull(sum(n), 0) FROM packed)"

TANK = """
[[tank]]
id = "{tank}"
litres = 20
heater_watts = 50
rack = "{rack}"
place = {place}
species = "boraras-brigittae"
stage = "{stage}"

[[probe]]
tank = "{tank}"
quantity = "temperature"
topic = "house/{low}/temperature"
format = "json"
pointer = "/v"
time_pointer = "/t"
every = "{every}"
"""


class House:
    """One room in a folder: its file, its store, its daemon.

    ways: (contact, way, url). tanks: ids such as A1.
    """

    def __init__(
        self,
        folder: Path,
        broker: Broker,
        *,
        tanks: Sequence[str] = ("A1",),
        ways: Sequence[tuple[str, str, str]],
        every: str = "60 s",
        judging: str = "",
        telling: str = "",
        stage: str = "holding",
    ) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.tanks = tuple(tanks)
        self.page_port = free_port()
        self.room = folder / "room.toml"
        self.store = folder / "house.db"
        text = [
            '[room]\nname = "The Boathouse"\nid = "house"\ntimezone = "Europe/Tallinn"\n',
            f'[broker]\nhost = "{broker.host}"\nport = {broker.port}\nclient_id = "house"',
            f'username = "{broker.user}"\npassword = "{broker.password}"\n',
            f'[storage]\npath = "{self.store}"\n[web]\nport = {self.page_port}\n',
            f"[judging]\n{judging}\n[telling]\n{telling}\n",
        ]
        contact = None
        for person, way, url in ways:
            if person != contact:
                text.append(f'[[contact]]\nname = "{person}"\n')
                contact = person
            text.append(f'[[contact.ways]]\nname = "{way}"\nurl = "{url}"\n')
        for place, tank in enumerate(self.tanks, start=1):
            text.append(
                TANK.format(
                    tank=tank, low=tank.lower(), rack=tank[0], place=place, every=every, stage=stage
                )
            )
        self.room.write_text("\n".join(text))
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> str:
        """What the daemon has said so far, over all its lives."""
        path = self.folder / "daemon.log"
        return path.read_text() if path.exists() else ""

    def command(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run one `roewatch` command to its end."""
        return subprocess.run(
            [sys.executable, "-m", "roewatch.service.cli", *words],
            check=False, capture_output=True, text=True, env=_env(), timeout=120,
        )  # fmt: skip

    def start(self) -> None:
        """Start the daemon; returns once it says that it watches."""
        before = self.log.count("watching room=")
        with (self.folder / "daemon.log").open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "roewatch.service.cli", "watch", "--room", str(self.room)],
                stdout=log, stderr=log, env=_env(),
            )  # fmt: skip
        wait_until(
            lambda: self.log.count("watching room=") > before or not self.running,
            "the daemon watches",
        )
        if not self.running:
            raise RuntimeError(f"the daemon ended: {self.log}")

    @property
    def running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """End it as a power cut would: no goodbye."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait(15)
            self._process = None

    def stop(self) -> None:
        """End it as the system does."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(30)
            self._process = None

    @contextmanager
    def open(self) -> Iterator[sqlite3.Connection]:
        """The store, to look into."""
        connection = sqlite3.connect(f"file:{self.store}?mode=ro", uri=True, timeout=10)
        try:
            yield connection
        finally:
            connection.close()

    def readings_kept(self) -> int:
        """How many readings are in the store; 0 before there is one."""
        if not self.store.exists():
            return 0
        with self.open() as store:
            try:
                return int(store.execute(_READINGS).fetchone()[0])
            except sqlite3.OperationalError:  # the file is there before its tables
                return 0


def message(at_ms: int, value: float) -> bytes:
    """A probe's message, with its own time."""
    moment = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(at_ms // 1000))
    return json.dumps({"t": f"{moment}.{at_ms % 1000:03d}Z", "v": value}).encode()


def now_ms() -> int:
    """The machine's time; journeys run in it."""
    return time.time_ns() // 1_000_000


def wait_until(met: Callable[[], bool], what: str, *, within_s: float = 30.0) -> None:
    """Return once `met()` is true; fail, saying what was waited for, after `within_s`."""

    until = time.monotonic() + within_s
    while not met():
        if time.monotonic() > until:
            raise AssertionError(f"after {within_s:g} s it was still not so that {what}")
        time.sleep(0.02)


def _env() -> dict[str, str]:
    paths = os.pathsep.join([str(ROOT / "daemon"), str(ROOT / "simulators")])
    return os.environ | {"PYTHONPATH": paths}
