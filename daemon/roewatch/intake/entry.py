"""An entry: one number a payload holds for one probe, with what the payload says of its moment."""

from typing import NamedTuple

from roewatch.intake.binding import Binding
from roewatch.intake.document import is_index, member, parts_of, said
from roewatch.intake.example import example
from roewatch.intake.own_time import own_ms_of
from roewatch.intake.senml import ABSOLUTE_FROM_S, Record, named
from roewatch.intake.written import (
    UnreadableError,
    Written,
    as_float,
    factor_and_offset,
    finite,
    written,
)


class Entry(NamedTuple):
    """One number in the kept unit, not yet placed in time.

    own_ms: the payload's own time, None when it has none. shift_ms: how long before (negative) or
    after arrival it was measured, when the payload says only that. trouble: why there is no number
    here; empty when there is one. time_trouble: why the own time could not be read; empty when it
    could, or there is none.
    """

    raw: float
    own_ms: int | None = None
    shift_ms: int = 0
    trouble: str = ""
    time_trouble: str = ""


def _kept(value: float, unit: str, binding: Binding) -> float:
    """Raises UnreadableError if the unit does not fit, or the number is not finite."""
    if not unit or unit == binding.unit:
        factor, offset = binding.to_kept
    else:
        factor, offset = factor_and_offset(binding.quantity, unit)
    return finite(value * factor + offset)


def of_plain(number: Written, binding: Binding) -> list[Entry]:
    """The one entry of a plain payload; the unit written behind the number wins.

    Raises UnreadableError if that unit does not measure the binding's quantity.
    """
    return [Entry(_kept(number.value, number.unit, binding))]


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
        value, unit = _json_number(found)
    except UnreadableError as error:
        return Entry(0.0, trouble=str(error))
    own_ms, time_trouble = None, ""
    if binding.time_pointer:
        try:
            own_ms = own_ms_of(member(around, parts_of(binding.time_pointer)), arrival_ms)
        except UnreadableError as error:
            time_trouble = str(error)
    try:
        return Entry(_kept(value, unit, binding), own_ms, 0, "", time_trouble)
    except UnreadableError as error:
        return Entry(0.0, own_ms, 0, str(error), time_trouble)


def _json_number(found: object) -> tuple[float, str]:
    if type(found) is float:
        return found, ""
    if isinstance(found, str):
        return written(found)
    if type(found) is not int:
        raise UnreadableError(f"{said(found)} is not a number")
    return as_float(found), ""


class AbsentError(UnreadableError):
    """A SenML pack has no record for a binding. Its text says which names and units there were.

    The text is put together when it is asked for: a gateway's packs carry now these, now those,
    and most of the time nobody asks.
    """

    def __init__(self, binding: Binding, records: list[Record], units: set[str]) -> None:
        super().__init__()
        self._binding, self._records, self._units = binding, records, units

    def __str__(self) -> str:
        if self._units:
            seen = _listed(self._units)
            return f"no record in a unit of {self._binding.quantity}; units here: {seen}"
        names = _listed({record.name for record in self._records}) or "none with a number"
        return f"no record is named {example(self._binding.name)}; names here: {names}"


def of_senml(records: list[Record], binding: Binding) -> list[Entry]:
    """The entries of a pack that are this binding's: by name, and by a unit that can be its own.

    One name may carry several quantities told apart by their units alone (RFC 8428 §5.1.3).
    Raises AbsentError if no record is.
    """
    wanted = binding.name
    entries: list[Entry] = []
    units: set[str] = set()
    unit, (factor, offset) = "", binding.to_kept  # most packs have one unit throughout
    for record in records:
        if record.name != wanted and not named(record.name, wanted):
            continue
        if record.unit != unit:
            try:
                of_this = factor_and_offset(binding.quantity, record.unit or binding.unit)
            except UnreadableError:
                units.add(record.unit or binding.unit)
                continue
            unit, (factor, offset) = record.unit, of_this
        entries.append(_senml_entry(record, record.value * factor + offset))
    if entries:
        return entries
    raise AbsentError(binding, records, units)


def _listed(words: set[str]) -> str:
    """A few of them, safe to print: a sender may write anything into a name."""
    return ", ".join(example(word, longest=40) for word in sorted(words)[:5])


def _senml_entry(record: Record, value: float) -> Entry:
    try:
        raw, trouble = finite(value), ""
    except UnreadableError as error:
        raw, trouble = 0.0, str(error)
    # beyond any calendar, so that the product stays an int of sane size
    ms = round(max(min(record.time_s, 1e12), -1e12) * 1000)
    if record.time_s >= ABSOLUTE_FROM_S:
        return Entry(raw, ms, 0, trouble)
    return Entry(raw, None, ms, trouble)
