"""Broods, their records, to-dos and forecasts as JSON objects, times in ISO 8601 UTC."""

from typing import Any

from roewatch.breeding.brood import Brood
from roewatch.breeding.compare import Comparison
from roewatch.breeding.development import CannotSay
from roewatch.breeding.forecast import Expected
from roewatch.breeding.livefood import Culture
from roewatch.breeding.record import BroodRecord
from roewatch.breeding.todo import Todo
from roewatch.room.moment import iso
from roewatch.views.brood_ports import BroodOutlook

Json = dict[str, Any]


def _when(at_ms: int | None) -> str | None:
    return None if at_ms is None else iso(at_ms)


def brood_json(brood: Brood) -> Json:
    """One brood as its records tell it."""
    return {
        "brood": brood.id,
        "species": brood.species,
        "tanks": list(brood.last_tanks),
        "plan": dict(brood.plan),
        "open": brood.open,
        "stage": brood.stage,
        "started": _when(brood.started_ms),
        "spawned": _when(brood.spawned_ms),
        "parents_out": _when(brood.parents_out_ms),
        "hatched": _when(brood.hatched_ms),
        "swimming": _when(brood.swimming_ms),
        "ended": _when(brood.ended_ms),
        "outcome": brood.outcome,
        "lost_to": brood.lost_to,
        "counts": {kind.value: count.text for kind, count in brood.counts.items()},
    }


def record_json(record: BroodRecord, *, stands: bool) -> Json:
    """One record; stands: whether it is in effect."""
    return {
        "id": record.id,
        "time": iso(record.at_ms),
        "made": iso(record.made_ms),
        "act": record.act,
        "by": record.by,
        "tank": record.tank,
        "counted": record.counted,
        "count": record.count.text if record.count else None,
        "detail": record.detail,
        "fields": dict(record.fields),
        "replaces": record.replaces,
        "stands": stands,
    }


def leg_json(leg: Expected | CannotSay) -> Json:
    """When one leg ends; the three times are null where it cannot be said."""
    if isinstance(leg, CannotSay):
        return {"from": None, "likely": None, "to": None, "happened": False, "why": leg.why}
    return {
        "from": iso(leg.from_ms),
        "likely": iso(leg.likely_ms),
        "to": iso(leg.to_ms),
        "happened": leg.happened,
        "why": leg.why,
    }


def todo_json(todo: Todo, now_ms: int) -> Json:
    """One to-do."""
    return {
        "key": todo.key,
        "task": todo.task,
        "brood": todo.brood,
        "tank": todo.tank,
        "words": todo.words,
        "from": iso(todo.from_ms),
        "due": iso(todo.due_ms),
        "to": iso(todo.to_ms),
        "late_s": todo.late_ms(now_ms) // 1000,
        "caution": todo.caution,
        "why": todo.why,
    }


def culture_json(culture: Culture) -> Json:
    """One live-food culture."""
    return {
        "key": culture.key,
        "food": culture.food,
        "spare": culture.spare,
        "start_by": iso(culture.start_by_ms),
        "ready_from": iso(culture.ready_from_ms),
        "ready_to": iso(culture.ready_to_ms),
        "feed_from": iso(culture.feed_from_ms),
        "feed_until": iso(culture.feed_until_ms),
        "grams": culture.grams,
    }


def outlook_json(outlook: BroodOutlook, now_ms: int) -> Json:
    """What the clocks say."""
    proposal = outlook.proposal
    return {
        "hatch": leg_json(outlook.forecast.hatch),
        "free_swimming": leg_json(outlook.forecast.swimming),
        "todos": [todo_json(todo, now_ms) for todo in outlook.todos],
        "cultures": [culture_json(culture) for culture in outlook.cultures],
        "proposal": proposal
        and {"tank": proposal.tank, "stage": proposal.stage, "why": proposal.why},
    }


def whole_json(brood: Brood, outlook: BroodOutlook, now_ms: int) -> Json:
    """One brood with its clocks and every record ever made of it."""
    records = [record_json(record, stands=True) for record in brood.records]
    records += [record_json(one.record, stands=False) for one in brood.superseded]
    return brood_json(brood) | {
        "outlook": outlook_json(outlook, now_ms),
        "records": sorted(records, key=lambda record: (record["made"], record["id"])),
    }


def comparison_json(comparison: Comparison, species: str) -> Json:
    """Groups with their intervals, and whether one can say anything."""
    return {
        "species": species,
        "by": comparison.factor,
        "what": comparison.success,
        "concluded": comparison.concluded,
        "verdict": comparison.verdict,
        "overdispersion": comparison.overdispersion,
        "mixed_up": list(comparison.mixed_up),
        "left_out": dict(comparison.left_out),
        "groups": [
            {
                "name": group.name,
                "broods": len(group.tallies),
                "counted": group.trials,
                "share": group.share.value if group.share else None,
                "low": group.share.low if group.share else None,
                "high": group.share.high if group.share else None,
            }
            for group in comparison.groups
        ],
    }
