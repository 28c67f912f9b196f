"""A board without a battery: the daemon starts in 1970 beside a real broker, and is put right."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from tests.journeys.boathouse import watching
from tests.journeys.broker import Broker, Publisher
from tests.journeys.house import House, message, now_ms, wait_until

from roewatch.outbox.pigeonhole import Pigeonhole
from roewatch.room.moment import MINUTE_MS
from roewatch.service.clock import WallClock
from roewatch.service.daemon import Daemon
from roewatch.service.settings.load import Setup, load_setup
from roewatch.storage.reader import Records

PLAIN = """
[[probe]]
tank = "A1"
quantity = "ph"
topic = "house/a1/ph"
every = "60 s"
"""


class SetClock(WallClock):
    """The machine's clock, wrong by `off_ms`."""

    def __init__(self, off_ms: int) -> None:
        self.off_ms = off_ms

    def now_ms(self) -> int:
        return super().now_ms() + self.off_ms


def kept(setup: Setup, quantity: str) -> Sequence[tuple[int, float]]:
    records = Records(setup.storage.path)
    try:
        probe = next(p for p in setup.room.probes if p.quantity == quantity)
        series = records.series(probe, 0, 2**43)
        return list(zip(series.at_ms, series.value, strict=True))
    finally:
        records.close()


@pytest.mark.needs("mosquitto")
def test_what_was_said_while_the_clock_showed_1970_waits_at_the_broker_and_is_kept(
    tmp_path: Path, broker: Broker
) -> None:
    house = House(tmp_path, broker, ways=[("Keeper", "phone", "http://127.0.0.1:1/keeper")])
    house.room.write_text(house.room.read_text() + PLAIN)
    setup = load_setup(house.room, {})
    clock = SetClock(5 * MINUTE_MS - now_ms())
    daemon = Daemon(setup, {way.name: Pigeonhole() for way in setup.ways}, clock=clock)
    with watching(daemon) as watch, Publisher(broker) as publisher:
        wait_until(lambda: watch.ear.hearing, "the daemon listens")  # type: ignore[attr-defined]
        wait_until(lambda: watch.waits_for_clock, "it waits for its clock")
        said_ms = now_ms()
        own = [(said_ms - second * 1000, 26.0 + second / 10) for second in range(20)]
        publisher.publish_all([("house/a1/temperature", message(*one)) for one in own])
        before_ms = now_ms()
        publisher.publish("house/a1/ph", b"6.1")
        after_ms = now_ms()
        wait_until(lambda: watch.ear.waiting == 21, "all are here")  # type: ignore[attr-defined]
        assert watch.counts.messages == 0
        assert watch.link.connected

        broker.stop()  # what waits is not lost with the link either
        broker.start()
        wait_until(lambda: watch.ear.hearing, "the link is back")  # type: ignore[attr-defined]
        clock.off_ms = 0
        wait_until(lambda: watch.counts.kept >= 21, "all are kept")
        assert watch.counts.refused == 0
        assert kept(setup, "temperature") == sorted(own)
        ((arrived_ms, ph),) = kept(setup, "ph")
        assert ph == 6.1
        assert before_ms - 50 <= arrived_ms <= after_ms + 1000
