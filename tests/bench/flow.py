"""Flow: readings through a broker to the daemon, and to a client that only counts them.

Each round publishes N readings at QoS 1 by two processes, to a lasting session of the receiver;
`measure_counting` and `measure_daemon` tell how fast it drains. Started by itself it is one of
those other processes.
"""

import argparse
import contextlib
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from paho.mqtt.client import Client  # noqa: E402
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion  # noqa: E402
from tests.journeys.broker import Broker, Publisher, free_port  # noqa: E402

DAEMON, COUNTER = "roewatch-bench", "bench-counter"
EVERY_MS = 5_000
PATIENCE_S = 300
TICK = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Load:
    """What is published: `rounds` readings of each probe, `pack` of them in a message.

    A pack of 1 is JSON with its own time; a larger one is SenML. a_tank: probes on one tank. live:
    published while they are received, not before.
    """

    probes: int
    rounds: int
    pack: int = 1
    a_tank: int = 1
    live: bool = False

    @staticmethod
    def of(readings: int, probes: int, pack: int, a_tank: int, *, live: bool) -> "Load":
        """At least so many readings, in whole packs."""
        rounds = max(1, -(-readings // (probes * pack))) * pack
        return Load(probes, rounds, pack, a_tank, live)

    @property
    def readings(self) -> int:
        return self.probes * self.rounds


@dataclass(frozen=True)
class Outcome:
    """One round: how many came after the first look, in how long, for how much processor time."""

    name: str
    readings: int
    seconds: float
    cpu_s: float
    broker_cpu_s: float

    @property
    def rate(self) -> float:
        return self.readings / self.seconds

    @property
    def cost_us(self) -> float:
        """Processor time for each reading, in µs."""
        return 1e6 * self.cpu_s / self.readings

    def line(self) -> str:
        return (
            f"{self.name:9} {self.rate:8.0f} readings/s {self.cost_us:7.1f} µs "
            f"of processor each {1e6 * self.broker_cpu_s / self.readings:7.1f} µs in the broker"
        )


def cpu_s(pid: int) -> float:
    """Processor seconds a process has used, all threads (proc(5): fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK


def rss_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmHWM:\s+(\d+)", status)
    return int(found[1]) / 1024 if found else 0.0


def topic(probe: int) -> str:
    return f"bench/t{probe}/temp"


def celsius(probe: int, number: int) -> float:
    """A thermostat's quiet swing, in steps of a sixteenth."""
    return 25 + 0.0625 * ((number // 12 + probe) % 5)


def payloads(load: Load, probe: int, newest_ms: int) -> list[bytes]:
    """One probe's messages, its readings `EVERY_MS` apart up to `newest_ms`."""
    said = [
        (newest_ms - (load.rounds - 1 - number) * EVERY_MS, celsius(probe, number))
        for number in range(load.rounds)
    ]
    if load.pack == 1:
        return [json.dumps({"t": at_ms, "v": value}).encode() for at_ms, value in said]
    return [
        json.dumps(
            [
                {"n": "temperature", "u": "Cel", "v": value, "t": at_ms / 1000}
                for at_ms, value in said[begin : begin + load.pack]
            ],
            separators=(",", ":"),
        ).encode()
        for begin in range(0, load.rounds, load.pack)
    ]


_JSON = 'format = "json"\npointer = "/v"\ntime_pointer = "/t"'
_SENML = 'format = "senml"\nname = "temperature"\nunit = "Cel"'


def room_file(folder: Path, broker: Broker, load: Load) -> Path:
    """A room of thermometers, bound to this broker."""
    lines = [
        '[room]\nname = "Bench"\nid = "bench"\ntimezone = "Europe/Tallinn"\n',
        f'[broker]\nhost = "{broker.host}"\nport = {broker.port}\nusername = "{broker.user}"',
        f'password = "{broker.password}"\nclient_id = "{DAEMON}"\n',
        f'[storage]\npath = "{folder}/bench.sqlite"\nleast_free_mb = 10\n',
        f"[web]\nport = {free_port()}\n",
    ]
    for probe in range(load.probes):
        tank = f"T{probe // load.a_tank}"
        if probe % load.a_tank == 0:
            lines += [
                f'[[tank]]\nid = "{tank}"\nlitres = 54\nheater_watts = 50',
                'species = "boraras-brigittae"\nstage = "holding"\n',
            ]
        lines += [
            f'[[probe]]\nid = "p{probe}"\ntank = "{tank}"\nquantity = "temperature"',
            f'topic = "{topic(probe)}"\n{_JSON if load.pack == 1 else _SENML}\nevery = "5 s"\n',
        ]
    path = folder / "room.toml"
    path.write_text("\n".join(lines))
    return path


def client_of(broker: Broker, client_id: str, *, lasting: bool = True) -> Client:
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id,
        clean_session=not lasting,
        protocol=MQTTProtocolVersion.MQTTv311,
    )
    client.username_pw_set(broker.user, broker.password)
    return client


def register(broker: Broker, client_id: str) -> None:
    """Leaves a lasting session behind that collects the bench's topics."""
    client, granted = client_of(broker, client_id), threading.Event()

    def ask(*_: object) -> None:
        client.subscribe("bench/+/temp", 1)

    client.on_connect = ask
    client.on_subscribe = lambda *_: granted.set()
    client.connect(broker.host, broker.port)
    client.loop_start()
    if not granted.wait(10):
        raise TimeoutError("the broker grants no subscription")
    client.disconnect()
    client.loop_stop()


def forget(broker: Broker, client_id: str) -> None:
    """Takes a lasting session away, or it would collect the next round as well."""
    client, joined = client_of(broker, client_id, lasting=False), threading.Event()
    client.on_connect = lambda *_: joined.set()
    client.connect(broker.host, broker.port)
    client.loop_start()
    if not joined.wait(10):
        raise TimeoutError("the broker does not answer")
    client.disconnect()
    client.loop_stop()


def publish(broker: Broker, load: Load) -> None:
    """Two publishing processes, half the probes each; returns when all is confirmed."""
    newest_ms = int(time.time() * 1000)
    halves = [
        (broker.port, first, past, load.probes, load.rounds, load.pack, newest_ms)
        for first, past in ((0, load.probes // 2), (load.probes // 2, load.probes))
    ]
    running = [
        subprocess.Popen([sys.executable, __file__, "publish", *map(str, numbers)])
        for numbers in halves
    ]
    if any(one.wait(PATIENCE_S) for one in running):
        raise RuntimeError("a publisher failed")


@dataclass
class Attached:
    """What a child process needs of a broker that its parent runs."""

    port: int
    host: str = "127.0.0.1"
    user: str = "roewatch"
    password: str = "only-for-tests"


def role_publish(  # as they stand on the command line
    port: int, first: int, past: int, probes: int, rounds: int, pack: int, newest_ms: int
) -> None:
    load = Load(probes, rounds, pack)
    made = [payloads(load, probe, newest_ms) for probe in range(first, past)]
    at_once = max(1, 5_000 // max(1, past - first))
    with Publisher(Attached(port)) as publisher:  # type: ignore[arg-type]
        # in the order of time, as probes speak: every probe once, then every probe again
        for start in range(0, rounds // pack, at_once):
            publisher.publish_all(
                (topic(first + place), messages[n])
                for n in range(start, min(start + at_once, rounds // pack))
                for place, messages in enumerate(made)
            )


def role_count(port: int, messages: int) -> None:
    """Prints messages, seconds from the first to the last, and processor seconds, as JSON."""
    done = threading.Event()
    seen, first_s, first_cpu_s = 0, 0.0, 0.0

    def on_message(*_: object) -> None:
        nonlocal seen, first_s, first_cpu_s
        if not seen:
            first_s, first_cpu_s = time.perf_counter(), time.process_time()
        seen += 1
        if seen == messages:
            done.set()

    client = client_of(Attached(port), COUNTER)  # type: ignore[arg-type]
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    print("ready", flush=True)
    if not done.wait(PATIENCE_S):
        raise TimeoutError(f"only {seen} of {messages} came")
    took = time.perf_counter() - first_s, time.process_time() - first_cpu_s
    print(json.dumps([seen - 1, *took]), flush=True)
    client.disconnect()
    client.loop_stop()


@contextlib.contextmanager
def daemon(room: Path, log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """`roewatch watch`, ended as the system does."""
    with log.open("ab") as words:
        process = subprocess.Popen(
            [sys.executable, "-m", "roewatch.service.cli", "watch", "--room", str(room)],
            stderr=words,
            stdout=words,
            env=os.environ | {"PYTHONPATH": f"{ROOT / 'daemon'}:{ROOT}"},
        )
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(60)


def stored(path: Path) -> int:
    """Readings in the store; 0 while there is none yet."""
    if not path.exists():
        return 0
    try:
        with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as store:
            packed = "SELECT ifnull(sum(n), 0) FROM packed"
            query = f"SELECT (SELECT count(*) FROM hot) + ({packed})"
            return int(store.execute(query).fetchone()[0])
    except sqlite3.OperationalError:
        return 0  # it is just being made


def measure_counting(broker: Broker, load: Load) -> Outcome:
    register(broker, COUNTER)
    if not load.live:
        publish(broker, load)
    before_s = cpu_s(broker.pid)
    messages = load.readings // load.pack
    words = [sys.executable, __file__, "count", str(broker.port), str(messages)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        if load.live:
            publish(broker, load)
        seen, seconds, spent_s = json.loads(process.stdout.readline())
    forget(broker, COUNTER)
    return Outcome("counting", seen * load.pack, seconds, spent_s, cpu_s(broker.pid) - before_s)


def measure_daemon(broker: Broker, folder: Path, load: Load) -> tuple[Outcome, int, float]:
    """The outcome, how many readings are stored in the end, and the daemon's largest memory."""
    store, log = folder / "bench.sqlite", folder / "daemon.log"
    room = room_file(folder, broker, load)
    register(broker, DAEMON)
    if not load.live:
        publish(broker, load)
    broker_before_s = cpu_s(broker.pid)
    publishing: threading.Thread | None = None
    with daemon(room, log) as process:
        if load.live:
            wait_for_words(log, "watching room=", process)
            publishing = threading.Thread(target=publish, args=(broker, load))
            publishing.start()
        first: tuple[int, float, float] | None = None
        seen, until_s = 0, time.perf_counter() + PATIENCE_S
        pause = threading.Event()
        while seen < load.readings:
            if process.poll() is not None or time.perf_counter() > until_s:
                said = log.read_text(errors="replace")[-2000:]
                raise RuntimeError(f"stopped at {seen} of {load.readings}: {said}")
            pause.wait(0.05)
            seen = stored(store)
            if seen and first is None:
                first = seen, time.perf_counter(), cpu_s(process.pid)
        assert first is not None
        outcome = Outcome(
            "daemon",
            seen - first[0],
            time.perf_counter() - first[1],
            cpu_s(process.pid) - first[2],
            cpu_s(broker.pid) - broker_before_s,
        )
        memory_mb = rss_mb(process.pid)
        if publishing is not None:
            publishing.join()
    forget(broker, DAEMON)
    return outcome, stored(store), memory_mb


def wait_for_words(log: Path, words: str, process: subprocess.Popen[bytes]) -> None:
    pause = threading.Event()
    for _ in range(600):
        if words in log.read_text(errors="replace"):
            return
        if process.poll() is not None:
            break
        pause.wait(0.1)
    raise RuntimeError(f"the daemon did not come up: {log.read_text(errors='replace')[-2000:]}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("role", choices=["publish", "count"])
    parser.add_argument("numbers", nargs="*", type=int)
    asked = parser.parse_args()
    (role_publish if asked.role == "publish" else role_count)(*asked.numbers)
