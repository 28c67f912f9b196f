"""What a daemon begins with: a store of its own first, and only then the broker."""

from pathlib import Path

import pytest
from tests.journeys.broker import Broker
from tests.journeys.house import House, wait_until

from roewatch.service.at_hand import at_hand
from roewatch.service.clock import WallClock
from roewatch.service.own_topics import OwnTopics
from roewatch.service.settings.load import load_setup
from roewatch.storage.trouble import BusyStoreError


@pytest.mark.needs("mosquitto")
def test_a_second_daemon_on_one_store_does_not_throw_the_first_off_the_broker(
    tmp_path: Path,
) -> None:
    with Broker(tmp_path / "broker") as broker:
        house = House(tmp_path / "house", broker, ways=[("Keeper", "phone", "http://127.0.0.1:1/")])
        setup = load_setup(house.room, {})
        with at_hand(setup, WallClock()) as first:
            wait_until(lambda: first.listener.hearing, "the first listens")
            with pytest.raises(BusyStoreError), at_hand(setup, WallClock()):
                pass
            first.listener.publish(OwnTopics.of("house").pulse, b"still here")
            wait_until(lambda: first.listener.waiting == 1, "the first hears itself")
            (heard,) = first.listener.group(first_wait_s=0)
            assert heard.token.connection == 1
