"""Probe, broker and daemon on hosts of their own; each link is cut for a while. Needs root.

    python -m tests.bench.namespaces --cut 30

Three network namespaces, joined by a bridge in a fourth, stand for three hosts. Boards at the
probe host publish with QoS 1, each reading with its time and kept until it is confirmed; the
broker is a Mosquitto configured as the shipped one; the daemon is `roewatch watch`, and the phone
is a webhook on its own host. First the link of the probe host is cut, then the broker's, then the
daemon's. Prints what was lost and what the keeper was told. Ends with 1 if a
reading was lost or nobody was told.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon"), str(ROOT / "simulators")]

from tests.bench import ending  # noqa: E402
from tests.journeys.broker import PASSWORD, USER, Broker, program  # noqa: E402
from tests.journeys.house import House, message, now_ms, wait_until  # noqa: E402

NET = "10.77.0"
HOSTS = {"probe": f"{NET}.1", "broker": f"{NET}.2", "daemon": f"{NET}.3"}
PREFIX = "rwb"  # of the names of what is made, and taken away again
TANKS = tuple(f"A{n}" for n in range(1, 7))


def run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True)


@contextmanager
def hosts() -> Iterator[None]:
    """The namespaces and the bridge between them, taken away at the end."""
    switch = f"{PREFIX}-switch"
    with ExitStack() as stack:
        for name in (switch, *(f"{PREFIX}-{host}" for host in HOSTS)):
            run("ip", "netns", "add", name)
            stack.callback(run, "ip", "netns", "del", name)
        run("ip", "-n", switch, "link", "add", "br0", "type", "bridge")
        run("ip", "-n", switch, "link", "set", "br0", "up")
        for host, address in HOSTS.items():
            space = f"{PREFIX}-{host}"
            run(
                *("ip", "-n", space, "link", "add", "eth0", "type", "veth"),
                *("peer", "name", f"to-{host}", "netns", switch),
            )
            run("ip", "-n", switch, "link", "set", f"to-{host}", "master", "br0")
            run("ip", "-n", switch, "link", "set", f"to-{host}", "up")
            run("ip", "-n", space, "addr", "add", f"{address}/24", "dev", "eth0")
            run("ip", "-n", space, "link", "set", "eth0", "up")
            run("ip", "-n", space, "link", "set", "lo", "up")
        yield


def cable(host: str, state: str) -> None:
    """Pull (`down`) or plug (`up`) a host's cable at the switch: the host notices nothing."""
    run("ip", "-n", f"{PREFIX}-switch", "link", "set", f"to-{host}", state)


def inside(host: str, *words: str) -> list[str]:
    return ["ip", "netns", "exec", f"{PREFIX}-{host}", *words]


class FarBroker(Broker):
    """The broker on its own host."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.host = HOSTS["broker"]
        text = self._settings.read_text()
        self._settings.write_text(text.replace(f"{self.port} 127.0.0.1", f"{self.port} 0.0.0.0"))

    def start(self) -> None:
        words = inside("broker", program("mosquitto"), "-c", str(self._settings))
        with (self.folder / "broker.err").open("wb") as err:
            self._process = subprocess.Popen(words, stdout=err, stderr=err)
        wait_until(lambda: "running" in self.log, "the broker runs")


class FarHouse(House):
    """The daemon on its own host."""

    def start(self) -> None:
        env = os.environ | {"PYTHONPATH": f"{ROOT / 'daemon'}:{ROOT / 'simulators'}"}
        words = inside(
            "daemon",
            sys.executable,
            "-m",
            "roewatch.service.cli",
            "watch",
            "--room",
            str(self.room),
        )
        with (self.folder / "daemon.log").open("ab") as log:
            self._process = subprocess.Popen(words, stdout=log, stderr=log, env=env)
        wait_until(lambda: "watching room=" in self.log, "the daemon watches", within_s=60)


def board(host: str, port: int, seconds: float) -> tuple[int, int]:
    """All boards of the probe host: a reading of each tank every half second, kept until confirmed.

    Runs inside the namespace. Returns how many readings were made, and how many confirmed.
    """
    from paho.mqtt.client import Client  # noqa: PLC0415
    from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion  # noqa: PLC0415

    client = Client(
        CallbackAPIVersion.VERSION2, "boards", clean_session=False,
        protocol=MQTTProtocolVersion.MQTTv311,
    )  # fmt: skip
    client.username_pw_set(USER, PASSWORD)
    client.max_queued_messages_set(0)
    client.reconnect_delay_set(1, 2)
    sent, confirmed = 0, threading.Semaphore(0)
    client.on_publish = lambda *_: confirmed.release()
    client.connect(host, port, keepalive=5)
    client.loop_start()
    pause, until = threading.Event(), time.monotonic() + seconds
    while time.monotonic() < until:
        for tank in TANKS:
            topic = f"house/{tank.lower()}/temperature"
            client.publish(topic, message(now_ms(), 26.5), qos=1)
            sent += 1
        pause.wait(0.5)
    came = sum(confirmed.acquire(timeout=60) for _ in range(sent))
    client.disconnect()
    client.loop_stop()
    return sent, came


class Phone(BaseHTTPRequestHandler):
    """Writes what it is told on a line each."""

    def do_POST(self) -> None:
        said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        print(json.dumps(said), flush=True)
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_: object) -> None: ...


def play(folder: Path, cut_s: float) -> int:
    """The whole of it; 0 when nothing was lost and somebody was told."""
    me = [sys.executable, str(Path(__file__))]
    seconds = 5 * cut_s + 20
    with ExitStack() as stack:
        stack.enter_context(hosts())
        broker = FarBroker(folder / "broker")
        stack.enter_context(broker)
        told = folder / "told"
        with told.open("wb") as out:
            phone = subprocess.Popen(inside("daemon", *me, "--as-phone"), stdout=out)
        stack.callback(phone.wait)
        stack.callback(phone.terminate)
        house = FarHouse(
            folder / "house",
            broker,
            tanks=TANKS,
            ways=[("Keeper", "phone", "http://127.0.0.1:9400/keeper")],
            every="1 s",
            judging='silent_after = "8 s"\nroom_silent_after = "8 s"\nsettle = "1 s"',
            telling='start_hold = "1 s"\ngroup_wait = "1 s"\nhigh_wait = "1 s"',
        )
        house.start()
        stack.callback(house.stop)
        boards = subprocess.Popen(
            inside("probe", *me, "--as-boards", broker.host, str(broker.port), str(seconds)),
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        wait_until(lambda: house.readings_kept() > 0, "readings come")
        pause = threading.Event()
        for host in HOSTS:
            pause.wait(cut_s / 3)
            before = house.readings_kept()
            cable(host, "down")
            pause.wait(cut_s)
            during = house.readings_kept() - before
            cable(host, "up")
            print(f"the {host}'s link cut for {cut_s:g} s: {during} readings came meanwhile")
        said, _ = boards.communicate(timeout=seconds + 120)
        made, confirmed = map(int, said.split())
        wait_until(lambda: house.readings_kept() >= confirmed, "all has arrived", within_s=120)
        pause.wait(5)
        kept = house.readings_kept()
        notices = [json.loads(line) for line in told.read_text().splitlines()]
        print(f"readings   {made} made, {confirmed} confirmed, {kept} kept; lost {made - kept}")
        print(f"the keeper was told {len(notices)} times:")
        for notice in notices:
            print(f"  {notice.get('title')}")
        links = [line for line in house.log.splitlines() if "broker_" in line or "link" in line]
        print("the daemon's log of the link:", *links, sep="\n  ")
    return 0 if kept == made and notices else 1


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cut", type=float, default=30.0, help="seconds a link is away")
    parser.add_argument("--as-phone", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--as-boards", nargs=3, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    ending.in_order()
    if asked.as_phone:
        ThreadingHTTPServer(("127.0.0.1", 9400), Phone).serve_forever()
    if asked.as_boards:
        host, port, seconds = asked.as_boards
        print(*board(host, int(port), float(seconds)))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        try:
            return play(Path(folder), asked.cut)
        except subprocess.CalledProcessError as error:
            print(
                f"{' '.join(map(str, error.cmd))}: {error.stderr.decode().strip()}", file=sys.stderr
            )
            return 2


if __name__ == "__main__":
    sys.exit(main())
