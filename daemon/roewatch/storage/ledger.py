"""The ledger: alarms, notices, receipts, journal and plans as texts in a row, and back again."""

import json
from dataclasses import fields
from typing import Any

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.notice import About, Notice
from roewatch.breeding.plan import Plan, Step
from roewatch.judging.finding import Forecast
from roewatch.room.kind import Kind, Priority
from roewatch.room.quantity import Quantity

_ALARM_FIELDS = tuple(f.name for f in fields(Alarm))
_NOTICE_FIELDS = tuple(f.name for f in fields(Notice))


def _text(value: Any, names: tuple[str, ...]) -> str:
    content = {name: getattr(value, name) for name in names}
    return json.dumps(content, ensure_ascii=False, separators=(",", ":"))


def _content(text: str, names: tuple[str, ...]) -> dict[str, Any]:
    # a field an older program wrote and this one dropped must not hide the alarm
    return {name: value for name, value in json.loads(text).items() if name in names}


def alarm_text(alarm: Alarm) -> str:
    """An alarm as one JSON object, every field by its name."""
    return _text(alarm, _ALARM_FIELDS)


def alarm_of(text: str) -> Alarm:
    """The alarm `alarm_text` wrote; fields it did not know take their default."""
    content = _content(text, _ALARM_FIELDS)
    content["kind"] = Kind(content["kind"])
    content["quantity"] = Quantity(content["quantity"]) if content["quantity"] else None
    content["priority"] = Priority(content["priority"])
    content["state"] = State(content["state"])
    if content.get("forecast") is not None:
        content["forecast"] = Forecast(*content["forecast"])
    content["children"] = tuple(content.get("children", ()))
    return Alarm(**content)


def notice_text(notice: Notice) -> str:
    """A notice as one JSON object, every field by its name."""
    return _text(notice, _NOTICE_FIELDS)


def notice_of(text: str) -> Notice:
    """The notice `notice_text` wrote."""
    content = _content(text, _NOTICE_FIELDS)
    content["about"] = About(content["about"])
    content["priority"] = Priority(content["priority"])
    content["alarms"] = tuple(content["alarms"])
    return Notice(**content)


def steps_text(plan: Plan) -> str:
    """A plan's steps as JSON pairs of moment and value."""
    return json.dumps([[step.at_ms, step.value] for step in plan.steps], separators=(",", ":"))


def plan_of(tank: str, quantity: str, steps: str) -> Plan:
    """The plan whose steps `steps_text` wrote."""
    dated = tuple(Step(at_ms=at_ms, value=value) for at_ms, value in json.loads(steps))
    return Plan(tank=tank, quantity=Quantity(quantity), steps=dated)
