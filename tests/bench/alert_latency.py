"""How soon a web hook hears of what a reading proves, while a thousand readings a second go by.

    python -m tests.bench.alert_latency [--seconds 60] [--tanks 100] [--rate 1000]

Real Mosquitto, `roewatch watch` as its own process, a real web hook. Each tank leaves its window
at a minute of its own; delays are set to a millisecond, so that what is measured is the path and
not the waiting. A sample is one alarm: from the moment the reading was published that proved it,
to the moment the web hook had the notice. Which reading that was is learned by judging the same
readings again afterwards. They carry their own time, which runs faster than the clock, so that
there are enough alarms to measure. Prints median, p99 and the worst.
"""

import argparse
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from tests.journeys.broker import Broker
from tests.journeys.house import House, message, now_ms, wait_until
from tests.journeys.receivers import WebhookReceiver

from roewatch.alarms.book import AlarmBook
from roewatch.judging.judge import Judge
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.service.settings.load import load_setup
from roewatch.storage.reader import Records

AT_ONCE = """high_wait = "0.001 s"
group_wait = "0.001 s"
start_hold = "0.001 s"
flood = 100000
most = 100000
well_at = "never"
digest_at = "never"
"""
# a judging tick waits until every tank has spoken once more, every ten seconds of its own time
PLAIN = """settle = "11 s"
on_delay = "0.001 s"
"""
PER_MINUTE = 6  # readings of one tank in a minute of its own time
WARM_UP_MIN = 6  # minutes of the tanks' time before the first leaves its window


class Timed(WebhookReceiver):
    """A web hook that notes when it first heard of each alarm being raised."""

    def __init__(self) -> None:
        super().__init__()
        self.heard_s: dict[int, float] = {}

    def put(self, message: object) -> None:
        at_s = time.monotonic()
        super().put(message)
        body = message.body  # type: ignore[attr-defined]  # a Posted
        for number in body["alarms"] if body["about"] == "raised" else ():
            self.heard_s.setdefault(number, at_s)


def main() -> None:
    """Run it once and print the figures."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seconds", type=int, default=60)
    asked.add_argument("--tanks", type=int, default=100)
    asked.add_argument("--rate", type=int, default=1000)
    options = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="alert-latency-"))
    phone = Timed()
    with Broker(folder / "broker") as broker:
        house = House(
            folder,
            broker,
            tanks=[f"T{n:03}" for n in range(options.tanks)],
            ways=[("Keeper", "phone", phone.url)],
            every="10 s",
            stage="fry",
            judging=PLAIN,
            telling=AT_ONCE,
        )
        house.start()
        wait_until(lambda: "broker_connected" in house.log, "the daemon is connected")
        try:
            readings, published_s, took_s = stream(house, broker, options)
            wait_until(lambda: house.readings_kept() >= len(readings), "all is kept", within_s=120)
            threading.Event().wait(2)  # the last notices are on their way
        finally:
            house.stop()
    report(house, phone, readings, published_s, took_s)
    phone.close()


def stream(
    house: House, broker: Broker, options: argparse.Namespace
) -> tuple[list[Reading], list[float], float]:
    """Publish at the rate asked for; returns the readings and when each was published."""
    total = options.seconds * options.rate
    step_ms = MINUTE_MS // PER_MINUTE
    per_step = len(house.tanks)
    begin_ms = (now_ms() - DAY_MS) // MINUTE_MS * MINUTE_MS
    minutes = total // (per_step * PER_MINUTE)
    leaves = [WARM_UP_MIN + n % max(1, minutes - WARM_UP_MIN - 5) for n in range(per_step)]
    readings: list[Reading] = []
    published_s: list[float] = []
    with publishing(broker) as client:
        began_s = time.monotonic()
        for i in range(total):
            turn, n = divmod(i, per_step)
            at_ms = begin_ms + turn * step_ms + n
            hot = (at_ms - begin_ms) // MINUTE_MS >= leaves[n]
            value = (31.5 if hot else 26.0) + (turn % 5) * 0.0625
            ahead_s = began_s + i / options.rate - time.monotonic()
            if ahead_s > 0:
                time.sleep(ahead_s)
            low = house.tanks[n].lower()
            readings.append(Reading(f"{low}-temperature", at_ms, value))
            published_s.append(time.monotonic())
            client.publish(f"house/{low}/temperature", message(at_ms, value), 1)
        took_s = time.monotonic() - began_s
    return readings, published_s, took_s


@contextmanager
def publishing(broker: Broker) -> Iterator[Client]:
    """A client that does not wait for each message to be confirmed."""
    client = Client(CallbackAPIVersion.VERSION2, "stream", protocol=MQTTProtocolVersion.MQTTv311)
    client.username_pw_set(broker.user, broker.password)
    client.max_inflight_messages_set(1000)
    joined = threading.Event()
    client.on_connect = lambda *_: joined.set()
    client.connect(broker.host, broker.port)
    client.loop_start()
    if not joined.wait(10):
        raise TimeoutError("the broker did not answer")
    yield client
    client.disconnect()
    client.loop_stop()


def proved_by(house: House, readings: list[Reading]) -> dict[tuple[str, int], int]:
    """Alarm key and moment of raising to the place of the reading with which it came."""
    setup = load_setup(house.room, {})
    judge, book = Judge(setup.room, setup.limits), AlarmBook(setup.room)
    places: dict[tuple[str, int], int] = {}
    for place, reading in enumerate(readings):
        for finding in judge.take(reading).findings:
            for change in book.take(finding):
                places.setdefault((change.alarm.key, change.alarm.raised_ms), place)
    return places


def report(
    house: House, phone: Timed, readings: list[Reading], published_s: list[float], took_s: float
) -> None:
    """Print what was measured."""
    records = Records(house.store)
    alarms = {alarm.number: alarm for alarm in records.alarms(limit=1_000_000)}
    records.close()
    places = proved_by(house, readings)
    samples = []
    for number, heard_s in phone.heard_s.items():
        place = places.get((alarms[number].key, alarms[number].raised_ms))
        if place is not None:
            samples.append((heard_s - published_s[place]) * 1000)
    samples.sort()
    print(f"{len(readings)} readings in {took_s:.1f} s: {len(readings) / took_s:.0f} readings/s")
    print(f"{len(phone.got)} notices about {len(phone.heard_s)} alarms")
    if len(samples) < 2:
        raise SystemExit("too few alarms to measure")
    p99 = statistics.quantiles(samples, n=100, method="inclusive")[98]
    print(
        f"published to web hook: median {statistics.median(samples):.0f} ms, "
        f"p99 {p99:.0f} ms, worst {samples[-1]:.0f} ms ({len(samples)} samples)"
    )


if __name__ == "__main__":
    main()
