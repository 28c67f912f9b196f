"""What the journeys share: a running broker for each test that asks for one."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.journeys.broker import Broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A Mosquitto with an empty store; the test marks itself `needs("mosquitto")`."""
    running = Broker(tmp_path / "broker")
    with running:
        yield running
