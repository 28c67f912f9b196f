"""The listener: one lasting session at the broker; it hands messages over, and acknowledges late.

The session is no clean one, so that the broker keeps what it could not deliver. A message is
acknowledged only when the caller says it is kept.
"""

import logging
import sys
import threading
import time
from collections.abc import Callable, Sequence

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from roewatch.intake.buffered import BufferedClient
from roewatch.intake.example import example
from roewatch.intake.link import BrokerSettings, LinkState, hung_up, unanswered, unreachable
from roewatch.intake.message import Message, MessageQueue, Stamps, Token
from roewatch.intake.session import OUT_LIMIT, Will, client_of
from roewatch.intake.subscription import NOT_UTF8, Subscription

__all__ = ["BrokerSettings", "LinkState", "Listener", "Message", "Token", "Will"]

log = logging.getLogger(__name__)

GROUP_LIMIT = 500
"""Half of what our broker configuration lets be unacknowledged: the other half is on its way."""

_STOP_S = 5.0  # how long a clean goodbye may take
_NO_LINK = -1
_NO_ANSWER = ReasonCode(PacketTypes.DISCONNECT, "Keep alive timeout")


class Listener:
    """Listens on `topics`; `group` and `acknowledge` belong to one thread, the rest to any.

    clock_ms: the present moment, UTC. queue_limit: messages held before the broker is held back.
    lasting: keep the session at the broker while away; a visitor that only looks around must not,
    and takes a client id of its own, or it would throw the daemon out.
    Raises ValueError for a topic nobody can listen to, and for certificates that cannot be loaded.
    """

    def __init__(
        self,
        broker: BrokerSettings,
        topics: Sequence[str],
        clock_ms: Callable[[], int],
        *,
        queue_limit: int = 20_000,
        will: Will | tuple[str, bytes] | None = None,
        lasting: bool = True,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._broker = broker
        self._subscription = Subscription(topics)
        self._clock_ms = clock_ms
        self._monotonic = monotonic
        self._stamps = Stamps(clock_ms)
        self._queue = MessageQueue(queue_limit)
        self._stopping = threading.Event()
        self._flushed = threading.Event()
        self._gone = threading.Event()
        self._last_request: int | None = None
        self._guard = threading.RLock()  # over the three below, and over sending acknowledgements
        self._link = LinkState(connected=False, since_ms=clock_ms(), why="not started")
        self._connection = _NO_LINK
        self._connections = 0
        self._refused = False  # in this attempt to connect
        last = will if isinstance(will, Will) or will is None else Will(*will)
        self._client = self._listening(client_of(broker, will=last, lasting=lasting))
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Connects in the background, and again for ever. Returns at once."""
        self._now(connected=False, why="connecting")
        self._client.connect_async(self._broker.host, self._broker.port, self._broker.keepalive_s)
        self._client.loop_start()
        self._thread = self._client._thread  # to notice its death; paho offers no other way

    def stop(self) -> None:
        """Says goodbye and ends the thread; acknowledgements given before still go out first.

        What was not acknowledged, the broker sends again next time. Stopped twice, it is stopped.
        """
        if self._stopping.is_set():
            return
        self._stopping.set()
        self._queue.close()
        self._flush()
        if self._client.disconnect() == MQTTErrorCode.MQTT_ERR_SUCCESS and not self._gone.wait(
            _STOP_S
        ):
            log.warning("broker_goodbye_unanswered broker=%s", self._broker.address)
            self._cut()
        self._client.loop_stop()
        with self._guard:
            self._connection = _NO_LINK
        self._now(connected=False, why="stopped")

    def group(
        self,
        *,
        wait_s: float = 0.05,
        limit: int = GROUP_LIMIT,
        first_wait_s: float = 0.5,
        slow_s: float = 0.0,
    ) -> list[Message]:
        """The next messages, oldest first: waits up to `first_wait_s` for one, then gathers.

        Gathering ends after `wait_s` (`slow_s` while there are few), at `limit` messages, with a
        burst, or at `wake`. Empty if nothing came.
        """
        group = self._queue.group(
            wait_s=wait_s, limit=limit, first_wait_s=first_wait_s, slow_s=slow_s
        )
        if not group:
            self._revive()
        return group

    def wake(self) -> None:
        """Lets `group` return with what there is: its caller has something else to do."""
        self._queue.wake()

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Tells the broker that these are kept, in the order given.

        Those of an earlier connection are passed over: the broker has sent them again meanwhile,
        perhaps under other numbers, and the copies are acknowledged in their turn.
        """
        # the guard is held throughout, so that no acknowledgement crosses into a new connection
        with self._guard:
            self._client.acknowledge(
                token.mid
                for token in (message.token for message in messages)
                if token.qos and token.connection == self._connection
            )

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Sends at QoS 1, or as soon as there is a link again; at most `OUT_LIMIT` wait for that.

        Raises ValueError for a topic with a wildcard in it.
        """
        sent = self._client.publish(topic, payload, qos=1, retain=retain)
        if sent.rc == MQTTErrorCode.MQTT_ERR_QUEUE_SIZE:
            log.warning("publish_dropped topic=%s why=%d messages wait", example(topic), OUT_LIMIT)

    @property
    def link(self) -> LinkState:
        """Whether we are connected, since when, and what is wrong."""
        return self._link

    @property
    def hearing(self) -> bool:
        """Whether the broker has granted every topic; a message published from now on comes."""
        return self._link.connected and self._subscription.complete

    @property
    def waiting(self) -> int:
        """Messages received and not yet taken in a group."""
        return len(self._queue)

    # below here: called by the network's thread, except where said

    def _listening(self, client: BufferedClient) -> BufferedClient:
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_pre_connect = self._on_pre_connect
        client.on_subscribe = self._on_subscribe
        client.on_unsubscribe = self._on_unsubscribe
        client.on_message = self._on_message
        return client

    def _on_message(self, client: Client, _: object, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = NOT_UTF8
        self._queue.put(
            Message(
                topic,
                bytes(message.payload),
                message.retain,
                self._stamps.of(topic),
                Token(message.mid, message.qos, self._connection),
                message.dup,
                self._monotonic(),
            )
        )
        if self._subscription.stray(topic):
            log.info("topic_unsubscribed topic=%s why=no probe is bound to it", example(topic))
            client.unsubscribe(topic)

    def _on_connect(
        self,
        client: Client,
        _: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        __: Properties | None,
    ) -> None:
        if reason.is_failure:
            self._refused = True
            self._now(connected=False, why=self._refusal(reason))
            return
        if self._stopping.is_set():
            client.disconnect()
            return
        with self._guard:
            self._connections += 1
            self._connection = self._connections
        kept = flags.session_present
        self._subscription.session(kept=kept)
        self._now(connected=True, why="")
        log.info(
            "broker_connected broker=%s session=%s", self._broker.address, "kept" if kept else "new"
        )
        for topics in self._subscription.packets():
            code, mid = client.subscribe([(topic, 1) for topic in topics])
            if code == MQTTErrorCode.MQTT_ERR_SUCCESS and mid is not None:
                self._subscription.asked(mid, topics)

    def _on_subscribe(
        self, _: Client, __: object, mid: int, reasons: list[ReasonCode], ___: Properties | None
    ) -> None:
        self._subscription.answered(mid, reasons)
        self._now(connected=True, why=self._subscription.trouble)

    def _on_pre_connect(self, _: Client, __: object) -> None:
        with self._guard:
            self._connection = _NO_LINK
        self._refused = False

    def _on_disconnect(
        self,
        _: Client,
        __: object,
        ___: DisconnectFlags,
        reason: ReasonCode,
        ____: Properties | None,
    ) -> None:
        with self._guard:
            self._connection = _NO_LINK
        if self._stopping.is_set():
            self._flushed.set()  # nobody will answer any more
            self._gone.set()
            return
        if self._link.connected:
            self._now(connected=False, why=f"the link broke ({reason.getName().lower()})")
        elif not self._refused:  # a refusal has said why before the line was cut
            silent = reason == _NO_ANSWER
            self._now(connected=False, why=(unanswered if silent else hung_up)(self._broker))

    def _on_connect_fail(self, _: Client, __: object) -> None:
        error = sys.exception()  # paho calls this from its `except OSError`
        if not self._stopping.is_set():
            self._now(connected=False, why=unreachable(error, self._broker))

    def _refusal(self, reason: ReasonCode) -> str:
        who = f"user {self._broker.username!r}" if self._broker.username else "without a user name"
        return (
            f"the broker refused us: {reason.getName().lower()} ({who}, "
            f"client id {self._broker.client_id!r}); check the name and the password"
        )

    def _now(self, *, connected: bool, why: str) -> None:
        """Called by any thread. One log line for each change, none while it stays the same."""
        with self._guard:
            before = self._link
            if (before.connected, before.why) == (connected, why):
                return
            since = before.since_ms if before.connected == connected else self._clock_ms()
            self._link = LinkState(connected, since, why)
        if why and why not in {"connecting", "stopped"}:
            log.warning("broker_link broker=%s up=%s why=%s", self._broker.address, connected, why)

    def _flush(self) -> None:
        """Called by `stop`: waits until the broker has read every acknowledgement before it.

        A broker reads in order, so the answer to any request proves it; without this, a quick new
        start takes the session over while acknowledgements still lie unread, and all come again.
        """
        with self._guard:
            if self._connection == _NO_LINK:
                return
            _, self._last_request = self._client.unsubscribe(f"{self._broker.client_id}/goodbye")
        if not self._flushed.wait(_STOP_S):
            log.warning("broker_slow_to_stop broker=%s; some may come again", self._broker.address)

    def _on_unsubscribe(self, _: Client, __: object, mid: int, *___: object) -> None:
        with self._guard:
            if mid == self._last_request:
                self._flushed.set()

    def _cut(self) -> None:
        """Called by `stop`: a line that will not take our goodbye is closed under the thread."""
        sock = self._client.socket()
        if sock is not None:
            sock.close()

    def _revive(self) -> None:
        """Called by the watch: a dead network thread would be a deaf room that looks quiet."""
        thread = self._thread
        if thread is None or thread.is_alive() or self._stopping.is_set():
            return
        log.error("broker_thread_died broker=%s; starting it again", self._broker.address)
        with self._guard:
            self._connection = _NO_LINK
        self._now(connected=False, why="the network thread died; started again")
        self.start()
