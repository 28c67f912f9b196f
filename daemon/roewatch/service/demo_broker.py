"""The demo's own broker, so that nothing else need be installed. A real room runs its own."""

import asyncio
import logging
import threading

from amqtt.broker import Broker
from amqtt.contexts import BrokerConfig, ListenerConfig

from roewatch.service.port import free_port

START_WAIT_S = 10.0


class DemoBroker:
    """An MQTT broker on a loopback port, in a thread of its own. Keeps nothing on disk."""

    def __init__(self) -> None:
        self.port = free_port()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, name="demo broker", daemon=True)
        self._up = threading.Event()
        self._failed: Exception | None = None
        self._ending: asyncio.Event | None = None

    def start(self) -> None:
        """Return once it listens. Raises ConnectionError if it cannot."""
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.ERROR)
        self._thread.start()
        if not self._up.wait(START_WAIT_S) or self._failed is not None:
            why = self._failed or "it took too long"
            raise ConnectionError(f"the demo broker did not start: {why}")

    def stop(self) -> None:
        """End it and wait for its thread."""
        if self._ending is not None:
            self._loop.call_soon_threadsafe(self._ending.set)
            self._thread.join(START_WAIT_S)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._serve())
        except OSError as refused:
            self._failed = refused
        finally:
            self._up.set()
            self._loop.close()

    async def _serve(self) -> None:
        self._ending = asyncio.Event()
        broker = Broker(
            BrokerConfig(
                listeners={"default": ListenerConfig(bind=f"127.0.0.1:{self.port}")},
                plugins={
                    "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}
                },
            )
        )
        await broker.start()
        self._up.set()
        await self._ending.wait()
        await broker.shutdown()
