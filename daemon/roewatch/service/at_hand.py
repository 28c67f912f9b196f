"""At hand: the store is open and the broker listened to, before the rest of the daemon is loaded.

The store first: its lock keeps a second daemon from the broker, where it would throw out the one
that runs. What comes from the broker waits, unacknowledged, until the watch takes it.
"""

import logging
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from roewatch.intake.listener import Listener
from roewatch.service.clock import Clock
from roewatch.service.own_topics import OwnTopics
from roewatch.service.settings.setup import Setup
from roewatch.service.status import Status, status_text
from roewatch.storage.backup import open_or_set_aside
from roewatch.storage.store import Store

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class AtHand:
    """What a daemon begins with. Its listener has been started."""

    store: Store
    listener: Listener


@contextmanager
def at_hand(setup: Setup, clock: Clock) -> Iterator[AtHand]:
    """Opened and started, and put away at the end. Raises StoreError where there is no store."""
    with ExitStack() as stack:
        store, aside = open_or_set_aside(setup.storage.path, now_ms=clock.now_ms())
        stack.callback(store.close)
        if aside is not None:
            log.error("store_damaged why=%r set_aside=%s", aside.why, aside.path)
        listener = listener_of(setup, clock)
        stack.callback(listener.stop)
        listener.start()
        yield AtHand(store, listener)


def listener_of(setup: Setup, clock: Clock) -> Listener:
    """The ear these settings ask for; not started yet."""
    return Listener(
        setup.broker,
        topics_of(setup),
        clock.now_ms,
        will=(OwnTopics.of(setup.room.id).status, status_text(Status(clock.now_ms()), "gone")),
    )


def topics_of(setup: Setup) -> list[str]:
    """What the listener subscribes to: the probes' topics and our own two."""
    probes = {binding.topic for binding in setup.bindings}
    return sorted(probes | set(OwnTopics.of(setup.room.id).heard))
