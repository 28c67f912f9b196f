"""Fifty pages open on the live stream for ten minutes: what the daemon needs, and what it keeps.

    .venv/bin/python -m tests.bench.live_pages [--minutes 10] [--pages 50] [--tanks 24]

A real broker and a real daemon in a process of its own; every probe speaks every two seconds. First
two minutes without a page, then the pages. Prints memory and processor of the daemon minute by
minute, and how much of what was said was kept with and without pages. Nothing passes or fails here.
"""

import argparse
import asyncio
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from tests.journeys.broker import Broker, free_port

from roewatch.service.control import NoDaemonError, ask

EVERY_S = 2.0
ALONE_MIN = 2
TICKS = os.sysconf("SC_CLK_TCK")

ROOM = """
[room]
name = "The Boathouse"
timezone = "Europe/Tallinn"
[broker]
port = {port}
username = "{user}"
password_file = "broker-password"
[web]
port = {web}
"""
TANK = """
[[tank]]
id = "{tank}"
litres = 20
heater_watts = 25
species = "boraras-brigittae"
rack = "{rack}"
shelf = {shelf}
place = {place}
[[probe]]
tank = "{tank}"
quantity = "temperature"
topic = "house/{tank}/temperature"
every = "2 s"
[[probe]]
tank = "{tank}"
quantity = "ph"
topic = "house/{tank}/ph"
every = "2 s"
"""


def room_file(folder: Path, broker: Broker, web: int, tanks: int) -> Path:
    secret = folder / "broker-password"
    secret.write_text(broker.password, encoding="utf-8")
    secret.chmod(0o600)
    text = ROOM.format(port=broker.port, user=broker.user, web=web)
    for n in range(tanks):
        rack, spot = divmod(n, 12)
        name = chr(ord("A") + rack)
        text += TANK.format(
            tank=f"{name}{spot + 1}", rack=name, shelf=spot // 4 + 1, place=spot % 4 + 1
        )
    file = folder / "room.toml"
    file.write_text(text, encoding="utf-8")
    return file


class Tally:
    """What was said, and what came to the pages."""

    said = 0
    events = 0
    bytes = 0
    lost = 0


async def page(port: int, tally: Tally, until_s: float) -> None:
    """One page: loaded once, it listens from what it showed on; a lost stream is opened again."""
    while time.monotonic() < until_s:
        try:
            body = await loaded(port)
            seen = re.search(r'data-seen="([^"]+)"', body)
            assert seen is not None
            await listened(port, seen[1], tally, until_s)
        except (TimeoutError, OSError):
            pass
        if time.monotonic() < until_s:
            tally.lost += 1
            await asyncio.sleep(1)


async def loaded(port: int) -> str:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nconnection: close\r\n\r\n")
    await writer.drain()
    body = await asyncio.wait_for(reader.read(), 60)
    writer.close()
    return body.decode()


async def listened(port: int, last: str, tally: Tally, until_s: float) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1 << 20)
    asked = f"GET /api/live?last={last} HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n"
    writer.write(asked.encode())
    await writer.drain()
    while time.monotonic() < until_s:
        line = await asyncio.wait_for(reader.readline(), 60)
        if not line:
            break
        tally.bytes += len(line)
        tally.events += line.startswith(b"event: room")
    writer.close()


async def speak(broker: Broker, tanks: int, tally: Tally, until_s: float) -> None:
    """Every probe, every two seconds."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set(broker.user, broker.password)
    client.connect(broker.host, broker.port)
    client.loop_start()
    turn = 0
    while time.monotonic() < until_s:
        began = time.monotonic()
        for n in range(tanks):
            rack, spot = divmod(n, 12)
            tank = f"{chr(ord('A') + rack)}{spot + 1}"
            client.publish(f"house/{tank}/temperature", f"{25.5 + (turn + n) % 9 / 10:.2f}", qos=1)
            client.publish(f"house/{tank}/ph", f"{6.2 + (turn * 7 + n) % 11 / 100:.2f}", qos=1)
            tally.said += 2
        turn += 1
        await asyncio.sleep(max(0.0, EVERY_S - (time.monotonic() - began)))
    client.disconnect()
    client.loop_stop()


def used(pid: int) -> tuple[float, float]:
    """Resident megabytes, and seconds of processor so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return (
        pages * os.sysconf("SC_PAGE_SIZE") / 1e6,
        (int(fields[11]) + int(fields[12])) / TICKS,
    )


async def watched(pid: int, store: Path, tally: Tally, minutes: float, word: str) -> float:
    """A line a minute; returns kept / said of the whole time, once the last are in."""
    kept, said = kept_of(store), tally.said
    before = used(pid)[1]
    events = tally.events
    for minute in range(1, round(minutes) + 1):
        await asyncio.sleep(60)
        memory, spent = used(pid)
        print(
            f"{word} minute {minute:2d}: {memory:6.1f} MB, {100 * (spent - before) / 60:5.1f} % of "
            f"a core, {tally.events - events} events, load {os.getloadavg()[0]:.1f}",
            flush=True,
        )
        before, events = spent, tally.events
    share = (kept_of(store) - kept) / max(1, tally.said - said)
    print(f"{word}: {tally.said - said} said, share kept {share:.4f}", flush=True)
    return share


def kept_of(store: Path) -> int:
    return int(ask(store, "status")["kept"])


async def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--minutes", type=float, default=10)
    asked.add_argument("--pages", type=int, default=50)
    asked.add_argument("--tanks", type=int, default=24)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Broker(folder / "broker") as broker:
            web = free_port()
            room = room_file(folder, broker, web, given.tanks)
            command = [str(Path(sys.executable).parent / "roewatch"), "watch", "--room", str(room)]
            with (folder / "log").open("w") as log:
                daemon = subprocess.Popen(command, stderr=log)
            try:
                await measured(daemon.pid, folder, broker, web, given)
            finally:
                daemon.terminate()
                daemon.wait(30)


async def measured(
    pid: int, folder: Path, broker: Broker, web: int, given: argparse.Namespace
) -> None:
    store = folder / "roewatch.sqlite"
    for _ in range(100):
        try:
            ask(store, "status")
            break
        except NoDaemonError:
            await asyncio.sleep(0.3)
    tally = Tally()
    until_s = time.monotonic() + 60 * (ALONE_MIN + given.minutes) + 15
    voice = asyncio.create_task(speak(broker, given.tanks, tally, until_s))
    await asyncio.sleep(10)
    alone = await watched(pid, store, tally, ALONE_MIN, "alone ")
    pages = [asyncio.create_task(page(web, tally, until_s)) for _ in range(given.pages)]
    await asyncio.sleep(2)
    together = await watched(pid, store, tally, given.minutes, f"{given.pages} pages")
    print(
        f"share kept with pages / without: {together / alone:.4f}; {tally.events} events, "
        f"{tally.bytes / 1e6:.1f} MB to the pages, {tally.lost} streams lost"
    )
    voice.cancel()
    for one in pages:
        one.cancel()


if __name__ == "__main__":
    asyncio.run(main())
