"""Written values: how spans, secrets, topics, hours and trade words stand in a settings file.

Each type here refuses with one sentence that says what is wrong and, after a semicolon, how to
put it right; `faults` splits it there.
"""

import re
from datetime import datetime
from typing import Annotated, Any, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Secret

from roewatch.room.kind import Priority
from roewatch.room.moment import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    at_ms_of,
    at_ms_of_iso,
    span_ms_of,
)
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.service.settings.document import did_you_mean
from roewatch.views.visitor import Role

_LONGEST_SPAN_MS = 100 * 366 * DAY_MS
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")


class Section(BaseModel):
    """One part of a settings file: an unknown key is a fault, nothing is converted quietly."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def veiled(text: str) -> str:
    """`text` shortened for a fault, a name and password in an address left out."""
    return re.sub(r"[^/\s]+", _unsigned, text)[:80]


def _unsigned(word: re.Match[str]) -> str:
    """A word between slashes and spaces, without what stands before its last @."""
    _, sign, rest = word[0].rpartition("@")
    return f"<secret>@{rest}" if sign else rest


class SecretText(Secret[str]):
    """A password, token or address with one in it. Prints as `<secret>`."""

    def _display(self) -> str:
        return "<secret>"


def span_written(value: Any) -> int:
    """Milliseconds of a written span. Raises ValueError for anything else, zero included."""
    text = value if isinstance(value, str) else ""
    if not text:
        raise ValueError("a span needs its unit, in quotes; write it like 90 s, 5 min, 2 h or 7 d")
    try:
        span_ms = span_ms_of(text)
    except OverflowError:
        span_ms = _LONGEST_SPAN_MS + 1
    if span_ms > _LONGEST_SPAN_MS:
        raise ValueError("longer than a hundred years; write a span somebody will see the end of")
    return span_ms


def span_as_written(span_ms: int) -> str:
    """A span exactly as the settings take it, in the largest unit that needs no fraction."""
    for unit, unit_ms in (("d", DAY_MS), ("h", HOUR_MS), ("min", MINUTE_MS)):
        if span_ms % unit_ms == 0:
            return f"{span_ms // unit_ms} {unit}"
    return f"{span_ms / SECOND_MS:g} s"


SpanMs = Annotated[int, BeforeValidator(span_written)]
"""Written `90 s`, `5 min`, `2 h`, `7 d`; kept in whole milliseconds, above zero."""


def _id(value: str) -> str:
    if not _ID.fullmatch(value):
        raise ValueError(
            f"{value[:70]!r} cannot name a thing in topics and addresses; use letters, digits, "
            "- _ . and begin with a letter or digit, 64 at most"
        )
    return value


Id = Annotated[str, AfterValidator(_id)]


def _topic(value: str) -> str:
    if not value:
        raise ValueError('no topic; write what the probe publishes on, like "room/a3/temperature"')
    if "#" in value or "+" in value:
        raise ValueError("a probe has one topic and no wildcard; write the topic out")
    if value.startswith("$") or "\0" in value or len(value.encode()) > 65_535:
        raise ValueError("not a topic a probe can publish on; write it without $ in front")
    return value


Topic = Annotated[str, AfterValidator(_topic)]


def _pointer(value: str) -> str:
    if value and not value.startswith("/"):
        raise ValueError(f"a pointer begins with a slash (RFC 6901); write /{value}")
    if re.search(r"~(?![01])", value):
        raise ValueError("in a pointer ~ stands for itself only as ~0 (RFC 6901); write ~0 or ~1")
    return value


Pointer = Annotated[str, AfterValidator(_pointer)]


def _zone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (ValueError, OSError, KeyError):  # the last is what ZoneInfoNotFoundError is
        raise ValueError(
            f"{value[:60]!r} is not a time zone; write it as Area/City, like Europe/Tallinn or UTC"
        ) from None
    return value


Zone = Annotated[str, AfterValidator(_zone)]


def minutes_of_clock(text: str) -> int:
    """Minutes since midnight of `22:00`. Raises ValueError for anything else."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text[:40]!r} is not a time of day; write it like 08:00 or 22:30")
    return int(match[1]) * 60 + int(match[2])


def _clock(value: Any) -> int:
    return minutes_of_clock(value if isinstance(value, str) else repr(value))


ClockMin = Annotated[int, BeforeValidator(_clock)]
"""Written `08:00`; kept in minutes since local midnight."""


def _hours(value: str) -> str:
    if value:
        begin, dash, end = value.partition("-")
        if not dash:
            raise ValueError("hours need a beginning and an end; write them like 22:00-07:00")
        if minutes_of_clock(begin) == minutes_of_clock(end):
            raise ValueError("these hours begin and end together; leave them empty for none")
    return value


Hours = Annotated[str, AfterValidator(_hours)]
"""Written `22:00-07:00`, or empty."""


def _at_ms(value: Any) -> int:
    try:
        if isinstance(value, datetime):
            return at_ms_of(value)
        if isinstance(value, str):
            return at_ms_of_iso(value)
    except (ValueError, OverflowError):
        pass
    raise ValueError("not a moment; write it with its zone, like 2026-03-01T10:00:00Z")


AtMs = Annotated[int, BeforeValidator(_at_ms)]
"""Written in ISO 8601 with a zone; kept in milliseconds since the epoch."""

_Word = TypeVar("_Word", Quantity, Stage, Priority, Role)


def _word_of(kind: type[_Word], noun: str, value: Any) -> _Word:
    if isinstance(value, kind):
        return value
    if isinstance(value, str):
        try:
            return kind(value)
        except ValueError:
            pass
    shown = repr(value)[:60]
    raise ValueError(f"{shown} is not a {noun}; {did_you_mean(str(value), list(kind))}")


QuantityWord = Annotated[
    Quantity, BeforeValidator(lambda value: _word_of(Quantity, "quantity", value))
]
StageWord = Annotated[Stage, BeforeValidator(lambda value: _word_of(Stage, "stage", value))]
PriorityWord = Annotated[
    Priority, BeforeValidator(lambda value: _word_of(Priority, "priority", value))
]
RoleWord = Annotated[Role, BeforeValidator(lambda value: _word_of(Role, "role", value))]

Port = Annotated[int, Field(ge=1, le=65_535)]
