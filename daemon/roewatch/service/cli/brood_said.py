"""A brood as the commands tell it: for people in lines, for programs as one object."""

from collections.abc import Iterator, Mapping
from typing import Any

from roewatch.breeding.brood import Brood
from roewatch.breeding.development import CannotSay
from roewatch.breeding.forecast import Expected
from roewatch.breeding.record import BroodRecord, written
from roewatch.breeding.todo import Todo
from roewatch.room.local_time import local_clock
from roewatch.room.moment import iso, span_text
from roewatch.room.species import SpeciesSheet
from roewatch.views.brood_ports import BroodOutlook
from roewatch.views.brood_words import COUNTS, day_words, record_words, sorted_out, tanks_words

__all__ = ["sorted_out"]


def said_line(record: BroodRecord, zone: str, now_ms: int) -> str:
    """`eggs seen, about 60, at 21:40`."""
    where = f" to {record.tank}" if record.act.value == "moved" else ""
    return f"{record_words(record)}{where}, at {local_clock(record.at_ms, zone, now_ms)}"


# -- for programs --------------------------------------------------------------------------------


def brood_object(
    brood: Brood, seen: BroodOutlook, sheets: Mapping[str, SpeciesSheet]
) -> dict[str, Any]:
    """Everything but the records."""
    sheet = sheets.get(brood.species)
    return {
        "brood": brood.id,
        "species": brood.species,
        "latin": sheet.latin if sheet else None,
        "tanks": list(brood.last_tanks),
        "open": brood.open,
        "stage": brood.stage.value if brood.stage else None,
        "stage_since": _iso(brood.stage_ms),
        "started": _iso(brood.started_ms),
        "spawned": _iso(brood.spawned_ms),
        "parents_out": _iso(brood.parents_out_ms),
        "dark": brood.is_dark,
        "hatched": _iso(brood.hatched_ms),
        "swimming": _iso(brood.swimming_ms),
        "ended": _iso(brood.ended_ms),
        "outcome": brood.outcome.value if brood.outcome else None,
        "lost_to": brood.lost_to or None,
        "plan": dict(brood.plan),
        "counts": {kind.value: count.text for kind, count in brood.counts.items()},
        "mean_celsius": None if seen.mean_celsius is None else round(seen.mean_celsius, 2),
        "forecast": {
            "hatch": _expected(seen.forecast.hatch),
            "free-swimming": _expected(seen.forecast.swimming),
        },
        "proposal": (
            {
                "tank": seen.proposal.tank,
                "stage": seen.proposal.stage.value,
                "why": seen.proposal.why,
            }
            if seen.proposal
            else None
        ),
        "moved": list(seen.moved),
    }


def _expected(leg: Expected | CannotSay) -> dict[str, Any]:
    if isinstance(leg, CannotSay):
        return {"cannot_say": leg.why}
    return {
        "from": iso(leg.from_ms),
        "likely": iso(leg.likely_ms),
        "to": iso(leg.to_ms),
        "happened": leg.happened,
        "basis": leg.basis.value,
        "why": leg.why,
    }


def todo_object(todo: Todo, now_ms: int) -> dict[str, Any]:
    """One to-do."""
    return {
        "key": todo.key,
        "brood": todo.brood,
        "tank": todo.tank,
        "task": todo.task.value,
        "from": iso(todo.from_ms),
        "due": iso(todo.due_ms),
        "late_from": iso(todo.to_ms),
        "late_h": round(todo.late_ms(now_ms) / 3_600_000, 2),
        "words": todo.words,
        "why": todo.why or None,
        "caution": todo.caution or None,
        "flag": todo.flag,
    }


def record_object(record: BroodRecord, brood: Brood) -> dict[str, Any]:
    """One record, and whether it stands."""
    by = {old.record.id: old.by for old in brood.superseded}.get(record.id)
    stands = any(r.id == record.id for r in brood.records)
    said = written(record) | {"at": iso(record.at_ms), "made": iso(record.made_ms)}
    return said | {"stands": stands, "replaced_by": by.id if by else None}


def _iso(at_ms: int | None) -> str | None:
    return None if at_ms is None else iso(at_ms)


# -- for people ----------------------------------------------------------------------------------


def heading(brood: Brood, sheets: Mapping[str, SpeciesSheet], now_ms: int) -> str:
    """`2026-14  Boraras brigittae in B2  eggs, 17 h old`."""
    sheet = sheets.get(brood.species)
    name = sheet.latin if sheet else brood.species or "no species named"
    return f"{brood.id}  {name} in {tanks_words(brood)}  {day_words(brood, now_ms)}"


def brood_lines(
    brood: Brood, seen: BroodOutlook, sheets: Mapping[str, SpeciesSheet], zone: str, now_ms: int
) -> Iterator[str]:
    """The brood as `brood show` tells it, without its to-dos and records."""
    yield f"Brood {heading(brood, sheets, now_ms)}"
    for name, text in brood.plan.items():
        yield f"  {name.replace('_', ' ')}: {text}"
    if brood.spawned_ms is not None:
        mean = (
            "" if seen.mean_celsius is None else f"; eggs at {seen.mean_celsius:.1f} °C on the mean"
        )
        yield f"  spawned  {local_clock(brood.spawned_ms, zone, now_ms)}{mean}"
    yield f"  hatch    {_leg_words(seen.forecast.hatch, zone, now_ms)}"
    yield f"  swims    {_leg_words(seen.forecast.swimming, zone, now_ms)}"
    told = ", ".join(f"{COUNTS[kind]} {count.text}" for kind, count in brood.counts.items())
    yield f"  counts   {told or 'none yet'}"
    if brood.is_dark:
        yield f"  dark     since {local_clock(brood.dark[-1].from_ms, zone, now_ms)}"
    if seen.proposal is not None:
        yield f"  Proposed: {seen.proposal.tank} into {seen.proposal.stage}: {seen.proposal.why}."
    for line in seen.moved:
        yield f"  Moved: {line}"


def _leg_words(leg: Expected | CannotSay, zone: str, now_ms: int) -> str:
    if isinstance(leg, CannotSay):
        return leg.why
    if leg.happened:
        return f"recorded {local_clock(leg.likely_ms, zone, now_ms)}"
    first, likely, last = (
        local_clock(at_ms, zone, now_ms) for at_ms in (leg.from_ms, leg.likely_ms, leg.to_ms)
    )
    late = " OVERDUE" if leg.overdue(now_ms) else ""
    return f"{first} to {last}, likely {likely}{late}\n           {leg.why}"


def todo_lines(todo: Todo, zone: str, now_ms: int) -> Iterator[str]:
    """One to-do with its caution, its time and its key."""
    late_ms = todo.late_ms(now_ms)
    if todo.flag:
        when = f"until {local_clock(todo.to_ms, zone, now_ms)}"
        box = " ! "
    else:
        when = local_clock(todo.due_ms, zone, now_ms)
        box = "[ ]"
    late = f"  LATE by {span_text(late_ms)}" if late_ms > 0 else ""
    yield f"  {box} {when}{late}  {todo.tank}: {todo.words}"
    if todo.caution:
        yield f"      Caution: {todo.caution}"
    yield f"      {todo.key}"


def record_lines(brood: Brood, zone: str, now_ms: int) -> Iterator[str]:
    """The records in effect, and beneath them what was said before."""
    for record in brood.records:
        by = f" ({record.by})" if record.by else ""
        yield f"  {record.id[:8]}  {said_line(record, zone, now_ms)}{by}"
    for old in brood.superseded:
        what = "taken back" if old.by is None or old.by.act.value == "withdrawn" else "put right"
        by = f" by {old.by.by}" if old.by is not None and old.by.by else ""
        yield f"  {old.record.id[:8]}  was: {said_line(old.record, zone, now_ms)}; {what}{by}"
