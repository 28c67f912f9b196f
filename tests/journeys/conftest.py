"""What the journeys share: a broker and receivers, running, for each test that asks for them."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.journeys.broker import Broker
from tests.journeys.receivers import MailReceiver, WebhookReceiver


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A Mosquitto with an empty store; the test marks itself `needs("mosquitto")`."""
    running = Broker(tmp_path / "broker")
    with running:
        yield running


@pytest.fixture
def phone() -> Iterator[WebhookReceiver]:
    """A web hook that takes everything and remembers it."""
    receiver = WebhookReceiver()
    yield receiver
    receiver.close()


@pytest.fixture
def stand_in() -> Iterator[WebhookReceiver]:
    """The second person's web hook."""
    receiver = WebhookReceiver()
    yield receiver
    receiver.close()


@pytest.fixture
def mail() -> Iterator[MailReceiver]:
    """A mail server that takes everything and remembers it."""
    receiver = MailReceiver()
    yield receiver
    receiver.close()
