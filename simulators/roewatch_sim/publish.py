"""A publisher: simulated samples on an MQTT broker, each one acknowledged."""

import logging
from collections.abc import Iterable
from threading import Condition, Event

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from roewatch_sim.payload import Board, Message
from roewatch_sim.room import Sample

log = logging.getLogger(__name__)

_CONNECT_WITHIN_S = 10.0
_RID_WITHIN_S = 600.0  # a broker may be away for minutes; the tanks' time then waits
_LAST_WITHIN_S = 60.0
_UNDERWAY = 5_000


class BrokerRefusedError(ConnectionError):
    """The broker is not there, or does not want us; says where and how to put it right."""


class Publisher:
    """Publishes at QoS 1 over MQTT 3.1.1; reconnects by itself, and loses nothing meanwhile."""

    def __init__(
        self,
        host: str,
        port: int = 1883,
        *,
        user: str | None = None,
        password: str | None = None,
        client_id: str = "",
        board: Board | None = None,
    ) -> None:
        self._host, self._port = host, port
        self._board = board or Board()
        self._answered = Event()
        self._refusal = ""
        # counted here, because paho calls a message it keeps for after a lost connection failed
        self._handed = self._acknowledged = 0
        self._news = Condition()
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTProtocolVersion.MQTTv311
        )
        self._client.max_inflight_messages_set(500)
        self._client.reconnect_delay_set(min_delay=1, max_delay=30)
        if user is not None:
            self._client.username_pw_set(user, password)
        self._client.on_publish = self._published
        self._client.on_connect = self._connected
        self._client.on_disconnect = self._disconnected

    def start(self) -> None:
        """Connect. Raises BrokerRefusedError when that does not succeed within 10 s."""
        where = f"{self._host}:{self._port}"
        try:
            self._client.connect(self._host, self._port, keepalive=30)
        except OSError as error:
            raise BrokerRefusedError(
                f"broker {where}: {error}. Start a broker there, or name another"
            ) from error
        self._client.loop_start()
        if not self._answered.wait(_CONNECT_WITHIN_S) or self._refusal:
            self._client.loop_stop()
            why = self._refusal or f"no answer within {_CONNECT_WITHIN_S:g} s"
            raise BrokerRefusedError(f"broker {where}: {why}. Check the user and the password")

    def publish(self, samples: Iterable[Sample]) -> int:
        """Hand over these samples; how many. Waits only when thousands are unacknowledged."""
        return sum(self._send(message) for message in self._board.messages(samples))

    def stop(self) -> None:
        """Wait until everything is acknowledged, at most a minute, and disconnect.

        Raises TimeoutError saying how many messages were not acknowledged.
        """
        for message in self._board.rest():
            self._send(message)
        try:
            self._settle(leave=0, within_s=_LAST_WITHIN_S)
        finally:
            self._client.disconnect()
            self._client.loop_stop()

    def _send(self, message: Message) -> int:
        info = self._client.publish(message.topic, message.payload, qos=1)
        if info.rc == MQTTErrorCode.MQTT_ERR_QUEUE_SIZE:
            raise OverflowError(f"the client would not queue a message for {message.topic}")
        self._handed += 1
        if self._handed - self._acknowledged > _UNDERWAY:
            self._settle(leave=_UNDERWAY // 2, within_s=_RID_WITHIN_S)
        return message.samples

    def _settle(self, *, leave: int, within_s: float) -> None:
        """Wait until at most `leave` messages are unacknowledged."""
        with self._news:
            done = self._news.wait_for(
                lambda: self._handed - self._acknowledged <= leave, timeout=within_s
            )
        if not done:
            raise TimeoutError(
                f"broker {self._host}:{self._port}: {self._handed - self._acknowledged} messages "
                f"not acknowledged within {within_s:g} s"
            )

    def _published(
        self,
        _client: Client,
        _userdata: object,
        _mid: int,
        _reason: ReasonCode,
        _properties: Properties,
    ) -> None:
        with self._news:
            self._acknowledged += 1
            self._news.notify_all()

    def _connected(
        self,
        _client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._refusal = str(reason) if reason.is_failure else ""
        self._answered.set()

    def _disconnected(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            log.warning("broker_lost broker=%s:%d reason=%r", self._host, self._port, str(reason))
