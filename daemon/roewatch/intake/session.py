"""A session: the MQTT client as the broker's settings ask for it, with nothing to hear it yet.

Protocol 3.1.1 with a fixed client id; acknowledgement by hand.
"""

from dataclasses import dataclass

from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from roewatch.intake.buffered import BufferedClient
from roewatch.intake.link import BrokerSettings, tls_of

RETRY_FIRST_S, RETRY_LONGEST_S = 1, 30
"""Seconds between attempts to connect: doubled from the first to the longest, for ever."""

OUT_LIMIT = 1000
"""Messages of ours waiting for the broker."""


@dataclass(frozen=True, slots=True)
class Will:
    """What the broker says for us, retained, when we vanish without a goodbye."""

    topic: str
    payload: bytes


def client_of(broker: BrokerSettings, *, will: Will | None, lasting: bool) -> BufferedClient:
    """lasting: the broker keeps what it could not deliver while we are away.

    Raises ValueError for certificates that cannot be loaded.
    """
    client = BufferedClient(
        CallbackAPIVersion.VERSION2,
        client_id=broker.client_id,
        clean_session=not lasting,
        protocol=MQTTProtocolVersion.MQTTv311,
        manual_ack=True,
    )
    if broker.username:
        client.username_pw_set(broker.username, broker.password or None)
    if broker.tls:
        client.tls_set_context(tls_of(broker))
    if will is not None:
        client.will_set(will.topic, will.payload, qos=1, retain=True)
    client.max_queued_messages_set(OUT_LIMIT)
    client.reconnect_delay_set(RETRY_FIRST_S, RETRY_LONGEST_S)
    return client
