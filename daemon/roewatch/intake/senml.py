"""A SenML pack: measurements in the form of RFC 8428, and its records resolved."""

from collections.abc import Mapping
from typing import NamedTuple

from roewatch.intake.example import example
from roewatch.intake.written import UnreadableError, as_float, finite

VERSION = 10
"""The version RFC 8428 §4.4 defines; a pack of a later one must not be used."""

ABSOLUTE_FROM_S = 2.0**28
"""Times below this are relative to now, from it on they count from 1970 (RFC 8428 §4.5.3)."""

_TEXTS = frozenset({"bn", "bu", "n", "u"})
_NUMBERS = frozenset({"bt", "bv", "bs", "bver", "v", "s", "t", "ut"})
_TAKES = dict.fromkeys(_TEXTS, (str,)) | dict.fromkeys(_NUMBERS, (float, int))
_BASES = frozenset({"bn", "bu", "bt", "bv", "bs", "bver"})
_OTHERS = frozenset({"vs", "vb", "vd"})


class Record(NamedTuple):
    """One resolved record with a number in it.

    value: may be NaN or infinite, see `document`. time_s: seconds since 1970 if at least
    `ABSOLUTE_FROM_S`, else relative to now. unit: empty when neither record nor base says.
    """

    name: str
    unit: str
    value: float
    time_s: float

    @property
    def absolute(self) -> bool:
        """Whether the record knows when it was measured, and not only how long ago."""
        return self.time_s >= ABSOLUTE_FROM_S


def resolved(pack: object) -> list[Record]:
    """The records of a pack that carry a number, base fields applied (RFC 8428 §4.6), in order.

    Records of strings, booleans, data, or a Sum alone are left out: they are no readings. A record
    that breaks the format spoils what the later ones inherit, so the whole pack is refused then.
    Raises UnreadableError, naming the record, counted from 0.
    """
    if not isinstance(pack, list):
        raise UnreadableError("not a SenML pack: want an array of records")
    base: dict[str, object] = {}
    records = []
    for place, given in enumerate(pack):
        if not isinstance(given, dict):
            raise UnreadableError(f"SenML record {place} is not an object")
        try:
            _check(given)
            if not _BASES.isdisjoint(given):
                base.update((label, given[label]) for label in _BASES if label in given)
            record = _record(given, base)
        except UnreadableError as error:
            raise UnreadableError(f"SenML record {place}: {error}") from error
        if record is not None:
            records.append(record)
    return records


def named(record_name: str, wanted: str) -> bool:
    """Whether a resolved name is the `wanted` one, or ends in it as its last part after / or :."""
    if not wanted or record_name == wanted:
        return True
    return record_name.endswith(("/" + wanted, ":" + wanted))


def _check(given: Mapping[str, object]) -> None:
    for label, value in given.items():
        takes = _TAKES.get(label)
        if takes is None:
            if label.endswith("_"):
                raise UnreadableError(
                    f"the field {example(label)} must be understood and is not (RFC 8428 §4.4)"
                )
        elif type(value) not in takes:
            raise UnreadableError(f"{label} is not a {'string' if label in _TEXTS else 'number'}")
    version = given.get("bver")
    if isinstance(version, int | float) and version > VERSION:
        raise UnreadableError(
            f"version {version} is later than {VERSION}; this pack must not be used"
        )


def _record(given: Mapping[str, object], base: Mapping[str, object]) -> Record | None:
    if not _OTHERS.isdisjoint(given):
        return None
    # a base value stands in for a missing value (§4.5.4), but a Sum may come without one (§4.2)
    if "v" not in given and ("s" in given or "bv" not in base):
        return None
    name, unit = given.get("n", ""), given.get("u")
    return Record(
        f"{base['bn']}{name}" if "bn" in base else str(name),
        str(base.get("bu", "") if unit is None else unit),
        # a value may be NaN: a lost probe must not spoil its neighbours in the pack
        _sum(base.get("bv"), given.get("v")),
        finite(_sum(base.get("bt"), given.get("t"))),
    )


def _sum(base: object, number: object) -> float:
    """Of two numbers, either of which may be missing."""
    if base is None and type(number) is float:
        return number
    return _number(base) + _number(number)


def _number(found: object) -> float:
    return as_float(found) if isinstance(found, (float, int)) else 0.0
