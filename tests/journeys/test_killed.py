"""The daemon, and what it leans on, killed again and again: nothing lost, nothing doubled."""

from pathlib import Path

import pytest
from tests.journeys.broker import Broker
from tests.journeys.fire import Fire, Plan, Struck
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


@pytest.mark.timeout(400)
@pytest.mark.needs("victoria-metrics")
@pytest.mark.needs("mosquitto")
def test_daemon_mirror_and_broker_struck_in_turn_leave_every_reading_once_here_and_there(
    tmp_path: Path, broker: Broker
) -> None:
    kills = {Struck.DAEMON: 12, Struck.MIRROR: 4, Struck.BROKER: 4}
    toll = Fire(tmp_path, broker, Plan(readings=20_000, kills=kills, quiet=0)).run()
    assert toll.struck == kills
    assert (toll.stored, toll.lost, toll.foreign) == (toll.published, 0, 0), toll.text()
    assert (toll.doubled, toll.contradicted) == (0, 0), toll.text()
    assert toll.differing == 0, toll.text()
