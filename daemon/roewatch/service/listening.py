"""Listening: a guest on the broker for a minute, whose findings are looked at while it listens."""

import threading
import time
from collections import defaultdict, deque
from collections.abc import Callable, Mapping, Sequence

from roewatch.intake.binding import Binding
from roewatch.intake.decode import decode
from roewatch.intake.link import BrokerSettings
from roewatch.intake.message import Message
from roewatch.intake.rising import rise_of, warmed
from roewatch.intake.survey import ProposedProbe, survey
from roewatch.room.quantity import Quantity
from roewatch.service.overheard import NoBrokerError, overhear
from roewatch.service.own_topics import OURS
from roewatch.service.settings.setup import Setup
from roewatch.views.setup_ports import HeardProbe, HeardWords, Listening

LONGEST_S = 600.0
_KEPT = 40  # the last messages of a topic; enough for its rhythm and for a hand's warmth


class Guest:
    """Listens when asked to. Safe from any thread."""

    def __init__(self, now_ms: Callable[[], int]) -> None:
        self._now_ms = now_ms
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._until_s = 0.0
        self._count = 0
        self._trouble = ""
        self._heard: dict[str, deque[Message]] = {}

    def listen(self, broker: BrokerSettings, seconds: float) -> None:
        """Hear everything on the broker for so long, from now on; what was heard is forgotten."""
        with self._lock:
            self._stop.set()
            self._stop = stop = threading.Event()
            self._until_s = time.monotonic() + min(seconds, LONGEST_S)
            self._count, self._trouble = 0, ""
            heard: dict[str, deque[Message]] = defaultdict(lambda: deque(maxlen=_KEPT))
            self._heard = heard
        threading.Thread(
            target=self._run, args=(broker, seconds, stop, heard), name="guest", daemon=True
        ).start()

    def _run(
        self,
        broker: BrokerSettings,
        seconds: float,
        stop: threading.Event,
        heard: dict[str, deque[Message]],
    ) -> None:
        def each(message: Message) -> None:
            with self._lock:
                heard[message.topic].append(message)
                self._count += not stop.is_set()

        trouble = ""
        try:
            overhear(broker, "#", seconds, now_ms=self._now_ms, stop=stop, each=each)
        except NoBrokerError as error:
            trouble = str(error)
        with self._lock:
            if not stop.is_set():
                self._until_s, self._trouble = 0.0, trouble

    def stop(self) -> None:
        """Hear no more."""
        self._stop.set()

    def proposed(self, setup: Setup) -> dict[str, ProposedProbe]:
        """What a probe could be tied to, by key."""
        with self._lock:
            messages = [m for found in self._heard.values() for m in found]
        found: dict[str, ProposedProbe] = {}
        for topic in survey(messages, tanks=[tank.id for tank in setup.room.tanks]):
            if not topic.topic.startswith(OURS):
                found |= {key_of(probe): probe for probe in topic.probes}
        return found

    def listening(self, setup: Setup) -> Listening:
        """What was heard so far."""
        with self._lock:
            heard = {topic: list(found) for topic, found in self._heard.items()}
            left_s, count = max(0.0, self._until_s - time.monotonic()), self._count
            trouble = self._trouble
        topics = [
            topic
            for topic in survey(
                [m for found in heard.values() for m in found],
                tanks=[tank.id for tank in setup.room.tanks],
            )
            if not topic.topic.startswith(OURS)
        ]
        probes = [_of(probe, heard, setup) for topic in topics for probe in topic.probes]
        warmths = {
            key_of(probe): values
            for topic in topics
            for probe in topic.probes
            if probe.quantity is Quantity.TEMPERATURE and (values := _values(probe, heard))
        }
        return Listening(
            left_s=left_s,
            messages=count,
            trouble=trouble,
            probes=tuple(probes),
            others=tuple(
                HeardWords(topic=topic.topic, latest=topic.latest, why=topic.why)
                for topic in topics
                if not topic.probes
            ),
            warmed=warmed(warmths) or "",
        )


def key_of(probe: ProposedProbe) -> str:
    """What a page calls a number on the broker by."""
    return f"{probe.topic} {probe.pointer or probe.name}".strip()


def _values(probe: ProposedProbe, heard: Mapping[str, Sequence[Message]]) -> list[float]:
    if probe.quantity is None:
        return []
    binding = Binding(
        topic=probe.topic,
        probe=key_of(probe),
        quantity=probe.quantity,
        format=probe.format,
        pointer=probe.pointer,
        time_pointer=probe.time_pointer,
        name=probe.name,
        unit=probe.unit,
    )
    values = []
    for message in heard.get(probe.topic, ()):
        decoded, _ = decode(
            message.topic, message.payload, [binding],
            arrival_ms=message.arrival_ms, retained=message.retained,
        )  # fmt: skip
        values += [one.raw for one in decoded]
    return values


def _of(probe: ProposedProbe, heard: Mapping[str, Sequence[Message]], setup: Setup) -> HeardProbe:
    values = _values(probe, heard)
    part = probe.pointer or probe.name
    tanks = {one.id: one.tank for one in setup.room.probes}
    tied = [
        tanks[bound.probe]
        for bound in setup.bindings
        if bound.topic == probe.topic and (bound.pointer or bound.name) == part
    ]
    return HeardProbe(
        key=key_of(probe),
        topic=probe.topic,
        where=part,
        quantity=probe.quantity,
        value=values[-1] if values else None,
        rose=rise_of(values) if probe.quantity is Quantity.TEMPERATURE else 0.0,
        tied=tied[0] if tied else "",
        tank=probe.tank,
    )
