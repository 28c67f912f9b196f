"""The daemon killed again and again: nothing lost, nothing doubled, the same alarms."""

from pathlib import Path

import pytest
from tests.journeys.broker import Broker
from tests.journeys.killing import killed_while_streaming
from tests.journeys.receivers import WebhookReceiver


@pytest.mark.needs("mosquitto")
def test_a_daemon_killed_at_any_moment_loses_and_doubles_nothing(
    tmp_path: Path, broker: Broker, phone: WebhookReceiver
) -> None:
    toll = killed_while_streaming(
        tmp_path / "house", broker, phone, readings=8_000, kills=5, seed=7
    )
    assert (toll.kept, toll.foreign) == (toll.published, 0)
    assert toll.notices > 0
    assert (toll.unfinished, toll.unheard) == (0, 0)
    assert toll.repeats <= toll.kills
    assert toll.live == toll.replayed
