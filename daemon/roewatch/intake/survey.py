"""A survey: what speaks on the broker, and the `[[probe]]` entry each topic would need."""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

from roewatch.intake.binding import Format
from roewatch.intake.document import document
from roewatch.intake.example import example
from roewatch.intake.guess import quantity_of, tank_of
from roewatch.intake.message import Message
from roewatch.intake.own_time import believable, own_ms_of
from roewatch.intake.senml import resolved
from roewatch.intake.written import UnreadableError, plain, written
from roewatch.room.moment import HOUR_MS, MINUTE_MS, SECOND_MS, span_text
from roewatch.room.quantity import Quantity

_USUAL_MS = [
    *(seconds * SECOND_MS for seconds in (1, 2, 5, 10, 15, 20, 30)),
    *(minutes * MINUTE_MS for minutes in (1, 2, 5, 10, 15, 30)),
    *(hours * HOUR_MS for hours in (1, 2, 6, 12, 24)),
]
_TIME_NAMES = {"t", "ts", "at", "time", "timestamp", "datetime", "date", "epoch", "utc"}
_DEEPEST, _MOST = 6, 40  # levels into a document, and numbers taken from it


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedProbe:
    """One `[[probe]]` entry as far as it can be told; empty where a person must fill in."""

    topic: str
    format: Format
    tank: str = ""
    quantity: Quantity | None = None
    pointer: str = ""
    time_pointer: str = ""
    name: str = ""
    unit: str = ""
    every_ms: int | None = None

    def toml(self) -> str:
        """The entry for room.toml; what must be filled in says so behind a #."""
        lines = ["[[probe]]"]
        if self.tank:
            lines.append(f"tank = {_quoted(self.tank)}")
        else:
            lines.append('tank = ""  # fill in: the id of the tank it hangs in')
        if self.quantity:
            lines.append(f"quantity = {_quoted(self.quantity)}")
        else:
            lines.append(f'quantity = ""  # fill in: {", ".join(Quantity)}')
        lines += [f"topic = {_quoted(self.topic)}", f"format = {_quoted(self.format)}"]
        for key in ("pointer", "time_pointer", "name", "unit"):
            value = getattr(self, key)
            if value:
                lines.append(f"{key} = {_quoted(value)}")
        if self.every_ms:
            lines.append(f"every = {_quoted(span_text(self.every_ms))}")
        else:
            lines.append('every = "60 s"  # heard too seldom to tell: write how often it speaks')
        return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardTopic:
    """One topic: how often it spoke, what it said last, and the probes it seems to carry.

    others: where the numbers are that nobody could name (battery, signal strength…). why: what is
    in the way when there is no probe.
    """

    topic: str
    messages: int
    retained: int
    latest: str
    every_ms: int | None
    probes: tuple[ProposedProbe, ...]
    others: tuple[str, ...] = ()
    why: str = ""


@dataclass(slots=True)
class _Found:
    """A number somewhere in a payload."""

    where: str
    unit: str
    words: tuple[str, ...]


@dataclass(slots=True)
class _Look:
    """What one payload turned out to be."""

    format: Format = Format.PLAIN
    numbers: list[_Found] = field(default_factory=list)
    time_pointer: str = ""
    why: str = ""


def survey(messages: Iterable[Message], *, tanks: Collection[str] = ()) -> list[HeardTopic]:
    """What was heard, by topic in alphabetical order.

    messages: in order of arrival; their payloads may be anything. tanks: the ids of the settings.
    """
    heard: dict[str, list[Message]] = {}
    for message in messages:
        heard.setdefault(message.topic, []).append(message)
    return [_heard(topic, heard[topic], tanks) for topic in sorted(heard)]


def _heard(topic: str, messages: Sequence[Message], tanks: Collection[str]) -> HeardTopic:
    looks = [_look(message) for message in messages]
    latest = next((look for look in reversed(looks) if look.numbers), looks[-1])
    same = [look for look in looks if look.format is latest.format]
    found = {number.where: number for look in same for number in look.numbers}
    every_ms = _every(messages)
    levels = tuple(reversed(topic.split("/")))
    probes, others = [], []
    # where one number says itself what it is, the topic speaks of that one, not of its neighbours
    named = any(quantity_of(number.unit, number.words) for number in found.values())
    for number in found.values():
        words = number.words if named else (*number.words, *levels)
        quantity = quantity_of(number.unit, words)
        if quantity is None and len(found) > 1:
            others.append(number.where)
            continue
        probes.append(
            ProposedProbe(
                topic=topic,
                format=latest.format,
                tank=tank_of((*levels, *number.words), tanks),
                quantity=quantity,
                pointer=number.where if latest.format is Format.JSON else "",
                time_pointer=latest.time_pointer,
                name=number.where if latest.format is Format.SENML and len(found) > 1 else "",
                unit=number.unit if latest.format is Format.PLAIN else "",
                every_ms=every_ms,
            )
        )
    return HeardTopic(
        topic=topic,
        messages=len(messages),
        retained=sum(message.retained for message in messages),
        latest=example(messages[-1].payload),
        every_ms=every_ms,
        probes=tuple(probes),
        others=tuple(others),
        why="" if probes else latest.why or "no number in it that a probe could measure",
    )


def _every(messages: Sequence[Message]) -> int | None:
    """The usual spacing of the live messages, as a round span; None below three of them."""
    arrivals = [message.arrival_ms for message in messages if not message.retained]
    gaps = [later - earlier for earlier, later in pairwise(arrivals)]
    if len(gaps) < 2:
        return None
    usual = max(median(gaps), 1.0)
    return min(_USUAL_MS, key=lambda span_ms: max(span_ms / usual, usual / span_ms))


def _look(message: Message) -> _Look:
    try:
        number = plain(message.payload)
    except UnreadableError as error:
        why = str(error)
    else:
        return _Look(numbers=[_Found("", number.unit, ())])
    try:
        value = document(message.payload)
    except UnreadableError:
        return _Look(why=why)
    if not isinstance(value, dict | list):
        return _Look(why=why)
    return _senml_look(value) or _json_look(value, message.arrival_ms)


def _senml_look(value: object) -> _Look | None:
    # a bare array of {"t", "v"} is a pack as well, but nothing in it says it was meant as one
    if not isinstance(value, list) or not any(
        isinstance(record, dict) and record.keys() & {"n", "bn", "u", "bu", "bt"}
        for record in value
    ):
        return None
    try:
        records = resolved(value)
    except UnreadableError:
        return None
    numbers = {
        record.name: _Found(record.name, record.unit, tuple(reversed(_levels(record.name))))
        for record in records[:_MOST]
        if record.name.isprintable()
    }
    return _Look(Format.SENML, list(numbers.values()))


def _levels(name: str) -> list[str]:
    return re.split("[/:]", name)


def _json_look(value: object, arrival_ms: int) -> _Look:
    look = _Look(Format.JSON)
    batch = value[0] if isinstance(value, list) and value else value
    for parts, leaf in _leaves(batch):
        if len(look.numbers) >= _MOST:
            break
        if _is_time(parts, leaf, arrival_ms):
            look.time_pointer = look.time_pointer or _pointer(parts)
            continue
        try:
            unit = written(leaf).unit if isinstance(leaf, str) else ""
        except UnreadableError:
            continue
        look.numbers.append(_Found(_pointer(parts), unit, tuple(reversed(parts))))
    return look


def _is_time(parts: Sequence[str], leaf: object, arrival_ms: int) -> bool:
    if not isinstance(leaf, str) and (not parts or parts[-1].lower() not in _TIME_NAMES):
        return False
    try:
        return believable(own_ms_of(leaf, arrival_ms), arrival_ms)
    except UnreadableError:
        return False


def _leaves(value: object, parts: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], object]]:
    """Numbers and texts in a document, with the reference tokens that lead to them."""
    if len(parts) > _DEEPEST:
        return
    inner: Iterable[tuple[str, object]] = ()
    if isinstance(value, Mapping):
        inner = value.items()
    elif isinstance(value, list):
        inner = ((str(place), element) for place, element in enumerate(value[:_MOST]))
    elif isinstance(value, str | int | float) and not isinstance(value, bool):
        yield parts, value
    for part, below in inner:
        if part.isprintable():  # a member no settings file could name is none for a probe
            yield from _leaves(below, (*parts, part))


def _pointer(parts: Sequence[str]) -> str:
    return "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in parts)


def _quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0)."""
    safe = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in safe) + '"'
