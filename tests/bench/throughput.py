"""How fast readings go through the daemon, beside a client that only counts them.

    python tests/bench/throughput.py --readings 50000

Starts a Mosquitto of its own with password, persistence and our queue settings. In each round N
readings are published at QoS 1 (one a message, JSON with its own time) by two processes while the
receiver is away, then the receiver drains them from its lasting session:

  counting   a paho client that acknowledges each message at once and counts it
  daemon     `roewatch watch`: decoded, judged, kept with a full sync, acknowledged after that

With --live the receiver is there while they are published, and all share the processors.
Both take turns, so that a busy machine weighs on both. Prints readings a second, processor time
for each, and the ratio of the two rates; acknowledging in groups is cheaper than one by one, so it
can be above 1. Fails (exit 1) if not every reading is stored exactly once.
"""

import argparse
import contextlib
import json
import os
import re
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from paho.mqtt.client import Client  # noqa: E402
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion  # noqa: E402
from tests.journeys.broker import Broker, Publisher, free_port  # noqa: E402

DAEMON, COUNTER = "roewatch-bench", "bench-counter"
EVERY_MS = 5_000
PATIENCE_S = 180
TICK = os.sysconf("SC_CLK_TCK")


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

    def line(self) -> str:
        return (
            f"{self.name:9} {self.rate:8.0f} readings/s {1e6 * self.cpu_s / self.readings:7.1f} µs "
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


def topic(tank: int) -> str:
    return f"bench/t{tank}/temp"


def payloads(tank: int, rounds: int, newest_ms: int) -> list[bytes]:
    """One tank's readings, `EVERY_MS` apart up to `newest_ms`: a thermostat's quiet swing."""
    made = []
    for number in range(rounds):
        at_ms = newest_ms - (rounds - 1 - number) * EVERY_MS
        celsius = 25 + 0.0625 * ((number // 12 + tank) % 5)
        made.append(json.dumps({"t": at_ms, "v": celsius}).encode())
    return made


def room_file(folder: Path, broker: Broker, tanks: int) -> Path:
    """A room of one thermometer a tank, bound to this broker."""
    lines = [
        '[room]\nname = "Bench"\nid = "bench"\ntimezone = "Europe/Tallinn"\n',
        f'[broker]\nhost = "{broker.host}"\nport = {broker.port}\nusername = "{broker.user}"',
        f'password = "{broker.password}"\nclient_id = "{DAEMON}"\n',
        f'[storage]\npath = "{folder}/bench.sqlite"\nleast_free_mb = 10\n',
        f"[web]\nport = {free_port()}\n",
    ]
    for tank in range(tanks):
        lines += [
            f'[[tank]]\nid = "T{tank}"\nlitres = 54\nheater_watts = 50',
            'species = "boraras-brigittae"\nstage = "holding"\n',
            f'[[probe]]\ntank = "T{tank}"\nquantity = "temperature"\ntopic = "{topic(tank)}"',
            'format = "json"\npointer = "/v"\ntime_pointer = "/t"\nevery = "5 s"\n',
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


def publish(broker: Broker, tanks: int, rounds: int) -> None:
    """Two publishing processes, half the tanks each; returns when all is confirmed."""
    newest_ms = int(time.time() * 1000)
    halves = [
        (broker.port, first, past, rounds, newest_ms)
        for first, past in ((0, tanks // 2), (tanks // 2, tanks))
    ]
    running = [
        subprocess.Popen([sys.executable, __file__, "--role", "publish", *map(str, numbers)])
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


def role_publish(port: int, first: int, past: int, rounds: int, newest_ms: int) -> None:
    made = [payloads(tank, rounds, newest_ms) for tank in range(first, past)]
    with Publisher(Attached(port)) as publisher:  # type: ignore[arg-type]
        # in the order of time, as probes speak: every tank once, then every tank again
        for start in range(0, rounds, 50):
            stop = min(start + 50, rounds)
            batch = [
                (first + place, tank[n])
                for n in range(start, stop)
                for place, tank in enumerate(made)
            ]
            publisher.publish_all([(topic(tank), payload) for tank, payload in batch])


def role_count(port: int, expected: int) -> None:
    """Prints readings, seconds from the first to the last, and processor seconds, as JSON."""
    done = threading.Event()
    seen, first_s, first_cpu_s = 0, 0.0, 0.0

    def on_message(*_: object) -> None:
        nonlocal seen, first_s, first_cpu_s
        if not seen:
            first_s, first_cpu_s = time.perf_counter(), time.process_time()
        seen += 1
        if seen == expected:
            done.set()

    client = client_of(Attached(port), COUNTER)  # type: ignore[arg-type]
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    print("ready", flush=True)
    if not done.wait(PATIENCE_S):
        raise TimeoutError(f"only {seen} of {expected} came")
    took = time.perf_counter() - first_s, time.process_time() - first_cpu_s
    print(json.dumps([seen - 1, *took]), flush=True)
    client.disconnect()
    client.loop_stop()


@contextlib.contextmanager
def daemon(room: Path, log: Path) -> Iterator[subprocess.Popen[bytes]]:
    with log.open("ab") as words:
        process = subprocess.Popen(
            [sys.executable, "-m", "roewatch.service.cli", "watch", "--room", str(room)],
            stderr=words,
            stdout=words,
        )
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)


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


def measure_counting(broker: Broker, tanks: int, rounds: int, *, live: bool) -> Outcome:
    register(broker, COUNTER)
    if not live:
        publish(broker, tanks, rounds)
    before_s = cpu_s(broker.pid)
    words = [sys.executable, __file__, "--role", "count", str(broker.port), str(tanks * rounds)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        if live:
            publish(broker, tanks, rounds)
        readings, seconds, spent_s = json.loads(process.stdout.readline())
    return Outcome("counting", readings, seconds, spent_s, cpu_s(broker.pid) - before_s)


def measure_daemon(
    broker: Broker, folder: Path, tanks: int, rounds: int, *, live: bool
) -> tuple[Outcome, int, float]:
    """The outcome, how many readings are stored in the end, and the daemon's largest memory."""
    expected, store = tanks * rounds, folder / "bench.sqlite"
    room = room_file(folder, broker, tanks)
    register(broker, DAEMON)
    if not live:
        publish(broker, tanks, rounds)
    broker_before_s = cpu_s(broker.pid)
    publishing: threading.Thread | None = None
    with daemon(room, folder / "daemon.log") as process:
        if live:
            wait_for_words(folder / "daemon.log", "watching room=", process)
            publishing = threading.Thread(target=publish, args=(broker, tanks, rounds))
            publishing.start()
        first: tuple[int, float, float] | None = None
        seen, until_s = 0, time.perf_counter() + PATIENCE_S
        pause = threading.Event()
        while seen < expected:
            if process.poll() is not None or time.perf_counter() > until_s:
                raise RuntimeError(f"stopped at {seen} of {expected}: see {folder}/daemon.log")
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


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--readings", type=int, default=50_000, help="in each round")
    parser.add_argument("--tanks", type=int, default=100, help="one probe each")
    parser.add_argument("--live", action="store_true", help="publish while they are received")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--keep", type=Path, help="leave store and logs in this folder")
    parser.add_argument("--role", choices=["publish", "count"], help=argparse.SUPPRESS)
    parser.add_argument("numbers", nargs="*", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.role:
        if asked.role == "publish":
            role_publish(*asked.numbers)
        else:
            role_count(*asked.numbers)
        return 0

    rounds = max(1, asked.readings // asked.tanks)
    expected = rounds * asked.tanks
    print(f"{expected} readings of {asked.tanks} probes, {os.cpu_count()} processors")
    ratios = []
    with contextlib.ExitStack() as stack:
        folder = asked.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        broker = stack.enter_context(Broker(folder / "broker"))
        for repeat in range(asked.repeats):
            counting = measure_counting(broker, asked.tanks, rounds, live=asked.live)
            forget(broker, COUNTER)
            print(counting.line(), flush=True)
            run = folder / f"run-{repeat}"
            run.mkdir()
            outcome, kept, memory_mb = measure_daemon(
                broker, run, asked.tanks, rounds, live=asked.live
            )
            forget(broker, DAEMON)
            ratios.append(outcome.rate / counting.rate)
            print(f"{outcome.line()}, ratio {ratios[-1]:.2f}, {memory_mb:.0f} MB", flush=True)
            if kept != expected:
                print(f"FAILED: {kept} stored of {expected} published", file=sys.stderr)
                return 1
    spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
    print(f"ratio, the middle one of {len(ratios)}: {statistics.median(ratios):.2f} ({spread})")
    print(f"stored each time: {expected} of {expected}, each once")
    return 0


if __name__ == "__main__":
    sys.exit(main())
