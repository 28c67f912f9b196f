"""What is overheard: everything spoken on a broker for a while, by a guest who leaves no trace."""

import queue
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from threading import Event
from time import monotonic
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from roewatch.intake.link import BrokerSettings, tls_of, unreachable
from roewatch.intake.message import Message, Token

_ANSWER_S = 5.0
_SLICE_S = 0.2
_MOST = 200_000  # messages held; a minute of the busiest room there is
_A_PACKET = 200  # topics asked for at once
_NO_TOKEN = Token(0, 0, 0)


class NoBrokerError(ConnectionError):
    """The broker is not there or will not have us; the text says what to do."""


def overhear(
    broker: BrokerSettings,
    topic: str,
    seconds: float,
    *,
    now_ms: Callable[[], int],
    stop: Event,
    heard: Callable[[int, float], None] = lambda _count, _share: None,
    each: Callable[[Message], None] = lambda _: None,
) -> list[Message]:
    """Every message on `topic` (wildcards allowed) until `seconds` are over or `stop` is set.

    No session is left behind and nothing is acknowledged beyond QoS 0. heard: told now and then how
    many came and which share of the time is over. each: given every message as it comes.
    Raises NoBrokerError.
    """
    found: list[Message] = []
    with guest(broker, [topic]) as spoken:
        began, until = monotonic(), monotonic() + seconds
        while (left := until - monotonic()) > 0 and not stop.is_set() and len(found) < _MOST:
            try:
                said = spoken.get(timeout=min(_SLICE_S, left))
            except queue.Empty:
                heard(len(found), (monotonic() - began) / seconds)
                continue
            payload = bytes(said.payload)
            found.append(Message(said.topic, payload, said.retain, now_ms(), _NO_TOKEN))
            each(found[-1])
            if len(found) % 100 == 0:
                heard(len(found), (monotonic() - began) / seconds)
    return found


@contextmanager
def guest(broker: BrokerSettings, topics: Sequence[str]) -> Iterator["queue.Queue[MQTTMessage]"]:
    """What is spoken on `topics`, as it comes, while the block lasts. Raises NoBrokerError."""
    spoken: queue.Queue[MQTTMessage] = queue.Queue()
    client = Client(CallbackAPIVersion.VERSION2, client_id="", clean_session=True)
    if broker.username:
        client.username_pw_set(broker.username, broker.password)
    client.connect_timeout = _ANSWER_S
    client.on_message = lambda _client, _data, said: spoken.put(said)
    answered = _asked_for(client, topics)
    try:
        if broker.tls:
            client.tls_set_context(tls_of(broker))
        client.connect(broker.host, broker.port, broker.keepalive_s)
        client.loop_start()
        why = answered.get(timeout=_ANSWER_S)
    except queue.Empty:
        why = "it does not answer like an MQTT broker; check host and port"
    except OSError as error:
        raise NoBrokerError(unreachable(error, broker)) from error
    except ValueError as error:
        raise NoBrokerError(str(error)) from error
    try:
        if why:
            raise NoBrokerError(f"broker {broker.address}: {why}")
        yield spoken
    finally:
        client.disconnect()
        client.loop_stop()


def _asked_for(client: Client, topics: Sequence[str]) -> "queue.Queue[str]":
    """Has the client ask for `topics`; one text comes: why it may not, empty when it may."""
    answered: queue.Queue[str] = queue.Queue()
    packets = [topics[start : start + _A_PACKET] for start in range(0, len(topics), _A_PACKET)]
    asked: dict[int, Sequence[str]] = {}
    denied: list[str] = []

    def connected(
        client: Client, _: Any, __: ConnectFlags, code: ReasonCode, ___: Properties | None
    ) -> None:
        if code.is_failure:
            answered.put(f"it refuses us ({code}); check username, password and its access list")
            return
        for packet in packets:
            _code, mid = client.subscribe([(topic, 0) for topic in packet])
            asked[mid or 0] = packet
        if not packets:
            answered.put("")

    def subscribed(
        _: Client, __: Any, mid: int, codes: list[ReasonCode], ____: Properties | None
    ) -> None:
        both = zip(asked.pop(mid, ()), codes, strict=False)
        denied.extend(topic for topic, code in both if code.is_failure)
        if not asked:
            answered.put(_said_of(denied))

    client.on_connect, client.on_subscribe = connected, subscribed
    return answered


def _said_of(denied: Sequence[str]) -> str:
    if not denied:
        return ""
    more = f" and {len(denied) - 1} more" if len(denied) > 1 else ""
    return f"this user may not listen to {denied[0]!r}{more}; widen its access list"
