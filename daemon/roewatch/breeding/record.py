"""A brood's record: one thing that was done or seen, and who said so.

Records are only ever added. One is put right by another that replaces it, and taken back by one
that withdraws it; so what was said before is never lost, and what was taken back can come again.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeVar

from roewatch.breeding.count import Count, Counted, count_of


class BroodAct(StrEnum):
    """What can be recorded of a brood; the text value is what the store and scripts write."""

    STARTED = "started"
    STAGE = "stage"  # detail: the stage the tank goes into
    SPAWNED = "spawned"
    PARENTS_OUT = "parents-out"  # fields: who = pair, male or female
    DARK = "dark"
    LIGHT = "light"
    HATCHED = "hatched"
    SWIMMING = "swimming"
    FED = "fed"
    COUNTED = "counted"
    CULTURE = "culture"  # a live food was started; detail: its key in the calendar, or its name
    MOVED = "moved"  # tank: where to; fields: from = the tanks left, if not all
    NOTE = "note"
    DONE = "done"  # a to-do was ticked; detail: its key
    ENDED = "ended"  # fields: outcome; detail: to what
    WITHDRAWN = "withdrawn"  # replaces: what is taken back


class Outcome(StrEnum):
    """What became of a brood; the text value is what records write."""

    REARED = "reared"
    LOST = "lost"
    GIVEN_UP = "given-up"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class BroodRecord:
    """One record of brood `brood`.

    id: made by whoever records, so that sending twice stores once. at_ms: when it happened;
    made_ms: when it was recorded. tank: "" for the tank the brood is in. count: None where nothing
    was counted. fields: more that belongs to the act, by name (see `BroodAct`; for `started`:
    species, parents, tanks, water, plan, food, stage). replaces: the id of the record it puts
    right or takes back, "" for none.
    """

    id: str
    brood: str
    at_ms: int
    made_ms: int
    act: BroodAct
    by: str = ""
    tank: str = ""
    counted: Counted | None = None
    count: Count | None = None
    detail: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)
    replaces: str = ""

    @property
    def order(self) -> tuple[int, int, str]:
        """By when it happened, then by when it was recorded."""
        return (self.at_ms, self.made_ms, self.id)


def written(record: BroodRecord) -> dict[str, object]:
    """The record as plain names, texts and numbers; `record_of` gives the same record back."""
    said: dict[str, object] = {
        "id": record.id,
        "brood": record.brood,
        "at_ms": record.at_ms,
        "made_ms": record.made_ms,
        "act": record.act.value,
        "by": record.by,
        "tank": record.tank,
        "counted": record.counted.value if record.counted else "",
        "count": record.count.text if record.count else "",
        "detail": record.detail,
        "fields": dict(record.fields),
        "replaces": record.replaces,
    }
    return {name: value for name, value in said.items() if value not in ("", {})}


_NAMES = frozenset(BroodRecord.__dataclass_fields__)


def record_of(said: Mapping[str, object]) -> BroodRecord:
    """The record of `written`. Raises ValueError naming what is missing or not of its kind."""
    strange = said.keys() - _NAMES
    if strange:
        raise ValueError(f"a brood's record has no {', '.join(sorted(strange))}")
    fields = said.get("fields", {})
    if not isinstance(fields, Mapping) or not all(
        isinstance(name, str) and isinstance(value, str) for name, value in fields.items()
    ):
        raise ValueError("fields: names with texts are needed")
    counted, count = _text(said, "counted"), _text(said, "count")
    return BroodRecord(
        id=_text(said, "id", needed=True),
        brood=_text(said, "brood", needed=True),
        at_ms=_moment(said, "at_ms"),
        made_ms=_moment(said, "made_ms"),
        act=_one_of(BroodAct, _text(said, "act", needed=True), "act"),
        by=_text(said, "by"),
        tank=_text(said, "tank"),
        counted=_one_of(Counted, counted, "counted") if counted else None,
        count=count_of(count) if count else None,
        detail=_text(said, "detail"),
        fields=dict(fields),
        replaces=_text(said, "replaces"),
    )


Word = TypeVar("Word", bound=StrEnum)


def _one_of(words: type[Word], text: str, name: str) -> Word:
    try:
        return words(text)
    except ValueError:
        raise ValueError(f"{name} is {text!r}; write one of: {', '.join(words)}") from None


def _text(said: Mapping[str, object], name: str, *, needed: bool = False) -> str:
    value = said.get(name, "")
    if not isinstance(value, str) or (needed and not value.strip()):
        raise ValueError(f"{name} is {value!r}; a text is needed")
    return value


def _moment(said: Mapping[str, object], name: str) -> int:
    value = said.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(f"{name} is {value!r}; whole milliseconds since 1970 are needed")
    return value


def in_effect(records: Iterable[BroodRecord]) -> list[BroodRecord]:
    """The records that stand, in the order of what happened: replaced and withdrawn ones left out.

    Of two that replace the same record the one recorded last stands. Taking a correction back, or
    a withdrawal, puts what was there before in its place again. One that replaces what nobody
    knows stands by itself until that comes; records that replace each other in a ring never stand.
    """
    known = {record.id: record for record in sorted(records, key=lambda r: r.order)}
    above: dict[str, list[BroodRecord]] = {}
    roots = []
    for record in known.values():
        if record.replaces in known:
            above.setdefault(record.replaces, []).append(record)
        else:
            roots.append(record)
    # parents before children; taken from the far end, every record's replacers are settled first
    walk = list(roots)
    for record in walk:
        walk += above.get(record.id, ())
    stands: dict[str, BroodRecord | None] = {}
    for record in reversed(walk):
        stands[record.id] = _standing(record, above.get(record.id, ()), stands)
    found = [stands[root.id] for root in roots]
    return sorted(
        (r for r in found if r is not None and r.act is not BroodAct.WITHDRAWN),
        key=lambda r: r.order,
    )


def _standing(
    record: BroodRecord,
    replacers: Iterable[BroodRecord],
    stands: Mapping[str, BroodRecord | None],
) -> BroodRecord | None:
    """What stands in `record`'s place, None when nothing does."""
    for later in sorted(replacers, key=lambda r: (r.made_ms, r.id), reverse=True):
        instead = stands[later.id]
        if instead is not None:  # else that correction or withdrawal was itself taken back
            return None if instead.act is BroodAct.WITHDRAWN else instead
    return record
