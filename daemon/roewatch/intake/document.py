"""A document: a JSON payload, read within limits, and the member a pointer (RFC 6901) names."""

import json
from functools import lru_cache

from jsonpointer import JsonPointer, JsonPointerException

from roewatch.intake.written import UnreadableError

_ABSENT = object()
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_decode = json.JSONDecoder().raw_decode


def document(payload: bytes) -> object:
    """The JSON value of a payload (RFC 8259, UTF-8). Raises UnreadableError.

    `NaN` and `Infinity` pass here although they are no JSON: a board that lost one of its probes
    writes them for that probe, and the others' numbers beside it are good.
    """
    try:
        text = payload.rstrip(b"\0").removeprefix(_BYTE_ORDER_MARK).decode()
        return _whole(text)
    except UnicodeDecodeError as error:
        raise UnreadableError(f"not JSON: byte {error.start} is not UTF-8") from error
    except RecursionError as error:
        raise UnreadableError("not read: nested too deeply") from error
    except json.JSONDecodeError as error:
        raise UnreadableError(f"not JSON: {error.msg} at character {error.pos}") from error
    except ValueError as error:  # an integer of more digits than Python converts
        raise UnreadableError("not read: a number has too many digits") from error


def _whole(text: str) -> object:
    """What `json.loads` gives, without its search for blanks: few probes send any around it."""
    try:
        value, end = _decode(text)
    except json.JSONDecodeError:
        return json.loads(text)
    if end != len(text):
        return json.loads(text)
    found: object = value
    return found


@lru_cache(maxsize=65_536)
def parts_of(pointer: str) -> tuple[str, ...]:
    """The reference tokens of an RFC 6901 pointer, unescaped.

    Raises ValueError if it is not one: settings are checked with this before anything listens.
    """
    try:
        return tuple(JsonPointer(pointer).parts)
    except JsonPointerException as error:
        raise ValueError(f"{pointer!r} is not a JSON pointer (RFC 6901): {error}") from error


def is_index(part: str) -> bool:
    """Whether a token can point into an array (RFC 6901 §4: no sign, no leading zero)."""
    if part == "0":
        return True
    return part.isascii() and part.isdigit() and part[0] != "0" and len(part) < 10


def member(value: object, parts: tuple[str, ...]) -> object:
    """What the pointer's `parts` lead to in `value`.

    Raises UnreadableError, naming the part that fails.
    Walked here and not by the library, whose error message prints the whole document.
    """
    for part in parts:
        found = _step(value, part)
        if found is _ABSENT:
            raise UnreadableError(f"nothing at {'/'.join(('', *parts))} (no {part!r})")
        value = found
    return value


def said(found: object) -> str:
    """What a value is, in a word or two: the value itself may be deep or large."""
    names = {dict: "an object", list: "an array", bool: "true or false", str: "text"}
    return "null" if found is None else names.get(type(found), "a number")


def _step(value: object, part: str) -> object:
    if isinstance(value, dict):
        return value.get(part, _ABSENT)
    if isinstance(value, list) and is_index(part) and int(part) < len(value):
        return value[int(part)]
    return _ABSENT
