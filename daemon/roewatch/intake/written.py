"""A written number: what a probe sends when it sends text, such as `24,6 °C`."""

import math
import re
from functools import lru_cache
from typing import NamedTuple

from roewatch.room.quantity import Quantity, conversion

LONGEST = 64
"""Characters a written number may have: a double needs 24, a unit ten more."""

# One sign of decimals only: 1,234.5 leaves ".5" standing as a unit and is refused, because
# guessing which sign groups the thousands could be wrong by a factor of a thousand.
_WRITTEN = re.compile(
    r"\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\d\s].*?)?\s*",
    re.ASCII | re.DOTALL,
)


class UnreadableError(ValueError):
    """This payload, or this part of it, is not a reading; the text says what was wanted."""


class Written(NamedTuple):
    """A number and the unit written behind it; an empty unit when there was none."""

    value: float
    unit: str


def written(text: str) -> Written:
    """The number written in `text`, with decimal comma or point, and its unit suffix if any.

    Raises UnreadableError for anything else: words, thousands separators, `nan`, `inf`, more than
    `LONGEST` characters.
    """
    if len(text) > LONGEST:
        raise UnreadableError(f"{len(text)} characters are no single number; want one such as 24.6")
    match = _WRITTEN.fullmatch(text)
    if match is None:
        raise UnreadableError("not a number; want one such as 24.6 or 24,6 °C")
    return Written(float(match[1].replace(",", ".")), match[2] or "")


def plain(payload: bytes) -> Written:
    """The number a whole payload consists of. Raises UnreadableError.

    A closing NUL (a C string sent with its terminator) is forgiven, and so is a degree sign in
    Latin-1: both are what small boards send, and neither can change the number.
    """
    if len(payload) > 4 * LONGEST:
        raise UnreadableError(f"{len(payload)} bytes are no single number; want one such as 24.6")
    bare = payload.rstrip(b"\0")
    if not bare:
        raise UnreadableError("the payload is empty; want a number such as 24.6")
    try:
        text = bare.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = bare.decode("latin-1")
    return written(text)


def as_float(number: float) -> float:
    """A JSON number as a double. Raises UnreadableError if it does not fit one."""
    try:
        return float(number)
    except OverflowError as error:
        raise UnreadableError("the number is too large") from error


def finite(value: float) -> float:
    """`value` itself. Raises UnreadableError if it is not a number or infinite."""
    if not math.isfinite(value):
        raise UnreadableError(f"{value} is not a finite number")
    return value


def factor_and_offset(quantity: Quantity, unit: str) -> tuple[float, float]:
    """`room.quantity.conversion`, remembered. Raises UnreadableError if it does not fit."""
    if len(unit) > LONGEST:  # nor may a sender fill our memory with units
        raise UnreadableError(f"a unit of {len(unit)} characters is none")
    return _remembered(quantity, unit)


@lru_cache(maxsize=1024)
def _remembered(quantity: Quantity, unit: str) -> tuple[float, float]:
    try:
        return conversion(quantity, unit)
    except ValueError as error:
        raise UnreadableError(str(error)) from error
