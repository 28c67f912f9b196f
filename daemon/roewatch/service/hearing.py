"""Hearing: a group of messages becomes readings, refusals, and our own beats and tests."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from roewatch.intake.binding import Binding, by_topic
from roewatch.intake.decode import Refused, decode
from roewatch.intake.example import example
from roewatch.intake.listener import Message
from roewatch.intake.refusals import RefusalLog
from roewatch.intake.repeats import Repeats
from roewatch.room.reading import Reading
from roewatch.service.faults import Faults
from roewatch.service.own_topics import OwnTopics

REPEATS_KEY = "intake.repeats"
_new = tuple.__new__  # half the cost of a named tuple's own constructor


@dataclass(slots=True)
class Heard:
    """What one group of messages holds. beats, tests: payloads on our own topics.

    arrivals: those that gave a reading without its own time, which is true when it arrives.
    """

    messages: Sequence[Message]
    readings: list[Reading] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    accepted: list[str] = field(default_factory=list)
    arrivals: list[Message] = field(default_factory=list)
    old_news: int = 0
    beats: list[bytes] = field(default_factory=list)
    tests: list[bytes] = field(default_factory=list)


class Hearing:
    """Understands messages by the bindings. Nothing is counted before it is kept: see `note`."""

    def __init__(self, bindings: Sequence[Binding], own: OwnTopics, faults: Faults) -> None:
        self._bindings: Mapping[str, Sequence[Binding]] = by_topic(bindings)
        self._own = own
        self._faults = faults
        self._repeats = Repeats()
        self.refusals = RefusalLog()

    def rebind(self, bindings: Sequence[Binding]) -> None:
        """Understand by new bindings from now on."""
        self._bindings = by_topic(bindings)

    def heard(
        self,
        messages: Sequence[Message],
        now_ms: int,
        *,
        latest_ms: int | None = None,
        again: bool = False,
    ) -> Heard:
        """What the messages say. again: heard before and not kept, so none is a repeat.

        latest_ms: the latest that it may be now, when the clock is known to be behind.
        """
        heard = Heard(messages)
        for message in messages:
            if message.dup and not again and self._repeats.known(message):
                continue  # kept before a crash that came before its acknowledgement
            bindings = self._bindings.get(message.topic)
            if bindings is None and message.topic in self._own.heard:
                self._ours(message, heard)
            else:
                self._of_probes(message, bindings or (), heard, now_ms, latest_ms)
        return heard

    def states(self, heard: Heard) -> dict[str, str]:
        """What must be kept with the group's readings, by key."""
        return {REPEATS_KEY: self._repeats.keep(heard.arrivals)} if heard.arrivals else {}

    def put_back(self, states: Mapping[str, str]) -> None:
        """Remember what was kept, and forget what was not."""
        self._repeats = Repeats(states.get(REPEATS_KEY, ""))

    def _ours(self, message: Message, heard: Heard) -> None:
        (heard.beats if message.topic == self._own.pulse else heard.tests).append(message.payload)

    def _of_probes(
        self,
        message: Message,
        bindings: Sequence[Binding],
        heard: Heard,
        now_ms: int,
        latest_ms: int | None,
    ) -> None:
        try:
            decoded, refused = decode(
                message.topic,
                message.payload,
                bindings,
                arrival_ms=message.arrival_ms,
                retained=message.retained,
                present_ms=latest_ms,
            )
        except Exception as error:  # noqa: BLE001  # one payload must not deafen the room
            self._faults.note("decoding", error, now_ms)
            heard.refused.append(_ours_to_mend(message, error))
            return
        at_arrival = False
        for probe, at_ms, raw, own_time in decoded:
            heard.readings.append(_new(Reading, (probe, at_ms, raw)))
            at_arrival = at_arrival or not own_time
        if at_arrival:
            heard.arrivals.append(message)
        if refused:
            heard.refused += refused
        elif decoded:
            heard.accepted.append(message.topic)
        else:
            heard.old_news += 1

    def note(self, heard: Heard) -> None:
        """Count what was refused and accepted, once the group is kept."""
        for refusal in heard.refused:
            self.refusals.refused(refusal)
        for topic in heard.accepted:
            self.refusals.accepted(topic)
        for _ in range(heard.old_news):
            self.refusals.old_news()

    def unkeepable(self, message: Message, error: Exception) -> None:
        """Count a message that could not be kept whatever was tried, so that it is not lost."""
        self.refusals.refused(_ours_to_mend(message, error))


def _ours_to_mend(message: Message, error: Exception) -> Refused:
    why = f"a fault in this program ({type(error).__name__}: {error}); see its log"
    return Refused(message.topic, why, example(message.payload))
