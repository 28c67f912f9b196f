"""An entry: one number a payload holds for one probe, with what the payload says of its moment."""

from typing import NamedTuple

from roewatch.intake.binding import Binding
from roewatch.intake.document import is_index, member, parts_of, said
from roewatch.intake.example import example
from roewatch.intake.own_time import own_ms_of
from roewatch.intake.senml import ABSOLUTE_FROM_S, Record, named
from roewatch.intake.written import UnreadableError, Written, as_float, factor_and_offset, written


class Entry(NamedTuple):
    """One number, not yet in the kept unit and not yet placed in time.

    unit: what `value` is in; empty means the kept unit. own_ms: the payload's own time, None when
    it has none. shift_ms: how long before (negative) or after arrival it was measured, when the
    payload says only that. trouble: why there is no number here; empty when there is one.
    time_trouble: why the own time could not be read; empty when it could, or there is none.
    """

    value: float
    unit: str
    own_ms: int | None = None
    shift_ms: int = 0
    trouble: str = ""
    time_trouble: str = ""


def of_plain(number: Written, binding: Binding) -> list[Entry]:
    """The one entry of a plain payload; the unit written behind the number wins."""
    return [Entry(number.value, number.unit or binding.unit)]


def of_json(value: object, binding: Binding, arrival_ms: int) -> list[Entry]:
    """The entries a JSON document holds for a binding: one, or one for each element of a batch.

    A batch is an array at the root while the pointer does not start with an index into it. An
    element without the member is passed over (it speaks of something else) unless all are.
    Raises UnreadableError if the pointer leads nowhere.
    """
    parts = parts_of(binding.pointer)
    if not isinstance(value, list) or (parts and is_index(parts[0])):
        return [_json_entry(value, member(value, parts), binding, arrival_ms)]
    entries, nowhere = [], "the batch is empty"
    for element in value:
        try:
            found = member(element, parts)
        except UnreadableError as error:
            nowhere = str(error)
        else:
            entries.append(_json_entry(element, found, binding, arrival_ms))
    if not entries:
        raise UnreadableError(nowhere)
    return entries


def _json_entry(around: object, found: object, binding: Binding, arrival_ms: int) -> Entry:
    try:
        number = _json_number(found)
    except UnreadableError as error:
        return Entry(0.0, "", trouble=str(error))
    unit = number.unit or binding.unit
    if not binding.time_pointer:
        return Entry(number.value, unit)
    try:
        own_ms = own_ms_of(member(around, parts_of(binding.time_pointer)), arrival_ms)
    except UnreadableError as error:
        return Entry(number.value, unit, time_trouble=str(error))
    return Entry(number.value, unit, own_ms)


def _json_number(found: object) -> Written:
    if isinstance(found, str):
        return written(found)
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise UnreadableError(f"{said(found)} is not a number")
    return Written(as_float(found), "")


def of_senml(records: list[Record], binding: Binding) -> list[Entry]:
    """The entries of a pack that are this binding's: by name, and by a unit that can be its own.

    One name may carry several quantities told apart by their units alone (RFC 8428 §5.1.3).
    Raises UnreadableError if no record is, saying which names and units there were.
    """
    entries, units = [], set()
    for record in records:
        if not named(record.name, binding.name):
            continue
        unit = record.unit or binding.unit
        try:
            factor_and_offset(binding.quantity, unit)
        except UnreadableError:
            units.add(unit)
            continue
        entries.append(_senml_entry(record, unit))
    if entries:
        return entries
    if units:
        seen = _listed(units)
        raise UnreadableError(f"no record in a unit of {binding.quantity}; units here: {seen}")
    names = _listed({record.name for record in records}) or "none with a number"
    raise UnreadableError(f"no record is named {example(binding.name)}; names here: {names}")


def _listed(words: set[str]) -> str:
    """A few of them, safe to print: a sender may write anything into a name."""
    return ", ".join(example(word, longest=40) for word in sorted(words)[:5])


def _senml_entry(record: Record, unit: str) -> Entry:
    # beyond any calendar, so that the product stays an int of sane size
    ms = round(max(min(record.time_s, 1e12), -1e12) * 1000)
    if record.time_s >= ABSOLUTE_FROM_S:
        return Entry(record.value, unit, own_ms=ms)
    return Entry(record.value, unit, shift_ms=ms)
