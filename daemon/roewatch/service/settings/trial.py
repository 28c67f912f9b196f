"""A trial: whether what the settings name is really there: broker, probes, store, mirror, contacts.

Nothing is changed by it: the broker keeps no session for us, the store is only read, the mirror
is sent an empty write. Contacts get a real test notice, because nothing less proves a way.
"""

import os
import queue
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from time import monotonic
from typing import Protocol
from urllib.parse import urlencode

import requests
from paho.mqtt.client import MQTTMessage

from roewatch.alarms.notice import About, Notice
from roewatch.intake.binding import by_topic
from roewatch.intake.decode import decode
from roewatch.room.kind import Priority
from roewatch.service.clock import WallClock
from roewatch.service.overheard import NoBrokerError, guest
from roewatch.service.settings.setup import Setup, WaySettings
from roewatch.service.settings.written import veiled
from roewatch.storage import opening
from roewatch.storage.trouble import StoreError

_MIRROR_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What one trial found. part: broker, probe, store, mirror or contact. says: one sentence."""

    part: str
    name: str
    good: bool
    says: str


class Trial(Protocol):
    """One thing to try. Tells, never raises for what a keeper could mend."""

    def __call__(self, setup: Setup) -> Iterator[Tried]: ...


def broker_trial(listen_s: float, now_ms: Callable[[], int]) -> Trial:
    """Connects, and listens for `listen_s` at most for one readable word from every probe."""

    def tried(setup: Setup) -> Iterator[Tried]:
        broker = setup.broker
        topics = sorted({binding.topic for binding in setup.bindings})
        try:
            with guest(broker, topics) as spoken:
                says = f"{broker.address} took us in"
                yield Tried(part="broker", name=broker.address, good=True, says=says)
                yield from _heard(setup, spoken, listen_s, now_ms)
        except NoBrokerError as error:
            yield Tried(part="broker", name=broker.address, good=False, says=str(error))

    return tried


def _heard(
    setup: Setup, spoken: "queue.Queue[MQTTMessage]", listen_s: float, now_ms: Callable[[], int]
) -> Iterator[Tried]:
    bound = by_topic(setup.bindings)
    silent = {binding.probe: binding.topic for binding in setup.bindings}
    refused: dict[str, tuple[int, str]] = {}
    until = monotonic() + listen_s
    while silent and (left := until - monotonic()) > 0:
        try:
            message = spoken.get(timeout=left)
        except queue.Empty:
            break
        decoded, refusals = decode(
            message.topic,
            bytes(message.payload),
            bound.get(message.topic, ()),
            arrival_ms=now_ms(),
            retained=message.retain,
        )
        for reading in decoded:
            silent.pop(reading.probe, None)
        for refusal in refusals:
            count, _ = refused.get(refusal.topic, (0, ""))
            refused[refusal.topic] = (count + 1, f"{refusal.why}; got {refusal.example}")
    for topic, (count, why) in sorted(refused.items()):
        says = f"{count} refused on {topic}: {why}"
        yield Tried(part="probe", name=topic, good=False, says=says)
    for probe, topic in sorted(silent.items()):
        if topic not in refused:
            says = (
                f"nothing on {topic} within {listen_s:g} s; is it switched on, and the topic right?"
            )
            yield Tried(part="probe", name=probe, good=False, says=says)
    spoke = len(setup.bindings) - len(silent)
    says = f"{spoke} of {len(setup.bindings)} probes spoke"
    yield Tried(part="probe", name="all", good=not silent, says=says)


def store_trial(setup: Setup) -> Iterator[Tried]:
    """Looks whether the store can be read, or could be started. Writes nothing."""
    path = setup.storage.path
    name = str(path)
    if not path.exists():
        folder = next(folder for folder in path.absolute().parents if folder.is_dir())
        good = os.access(folder, os.W_OK | os.X_OK)
        says = "no store yet; the daemon will start one"
        if not good:
            says = f"this user may not write in {folder}; give the folder to the daemon's user"
        yield Tried(part="store", name=name, good=good, says=says)
        return
    try:
        connection = opening.reading(path)
        try:
            whole = opening.check_sound(connection, path, 2000)
        finally:
            connection.close()
    except (StoreError, OSError) as error:
        yield Tried(part="store", name=name, good=False, says=str(error))
        return
    says = "sound" if whole else "sound as far as looked at in 2 s"
    yield Tried(part="store", name=name, good=True, says=says)


def mirror_trial(setup: Setup) -> Iterator[Tried]:
    """Sends the mirror an empty write: who may write nothing may write readings."""
    mirror = setup.mirror
    name = veiled(mirror.url)
    if not mirror.enabled:
        yield Tried(part="mirror", name=name, good=True, says="switched off")
        return
    token = mirror.token.get_secret_value() if mirror.token is not None else ""
    query = urlencode({"org": mirror.org, "bucket": mirror.bucket, "precision": "ms"})
    try:
        answer = requests.post(
            f"{mirror.url.rstrip('/')}/api/v2/write?{query}",
            data=b"",
            headers={"Authorization": f"Token {token}"} if token else {},
            timeout=_MIRROR_S,
        )
    except requests.RequestException as error:
        says = f"cannot be reached ({type(error).__name__}); check url and network"
        yield Tried(part="mirror", name=name, good=False, says=says)
        return
    troubles: Mapping[int, str] = {
        401: "refuses the token; check token or token_file",
        403: "this token may not write there; check its rights",
        404: "does not know that organisation or bucket; check org, bucket and url",
    }
    bad = troubles.get(answer.status_code)
    if bad is None and answer.status_code >= 500:
        bad = f"answers {answer.status_code}; look at its log"
    yield Tried(part="mirror", name=name, good=bad is None, says=bad or "takes our writes")


def contact_trial(send: Callable[[WaySettings], str]) -> Trial:
    """Sends a test notice by every way. send: returns why it failed, empty when it was taken."""

    def tried(setup: Setup) -> Iterator[Tried]:
        for way in setup.ways:
            why = send(way)
            yield Tried(part="contact", name=way.name, good=not why, says=why or "took it")

    return tried


def send_test(way: WaySettings) -> str:
    """Hand one test notice to `way`; why it failed, or empty. The reason holds no secret."""
    from roewatch.outbox.channel import Refused, TryLater, channel_of  # noqa: PLC0415  # heavy

    now_ms = WallClock().now_ms()
    notice = Notice(
        id=f"check-{uuid.uuid4().hex[:12]}",
        contact=way.contact,
        way=way.name,
        about=About.TEST,
        priority=Priority.LOW,
        alarms=(),
        title="Test, all is well",
        body="Sent by roewatch check. If you read this, this way works. Nothing to do.",
        made_ms=now_ms,
        due_ms=now_ms,
    )
    try:
        channel_of(way).send(notice)
    except (TryLater, Refused) as failed:
        return str(failed) or type(failed).__name__
    return ""
