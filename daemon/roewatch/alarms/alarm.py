"""An alarm: a finding that asks something of a person, in one of the standard's states."""

from dataclasses import dataclass
from enum import StrEnum

from roewatch.judging.finding import Forecast
from roewatch.room.kind import Kind, Priority
from roewatch.room.quantity import Quantity


class State(StrEnum):
    """States of ISA-18.2 / IEC 62682. `RETURNED` is returned to normal but unacknowledged."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed-by-design"
    OUT_OF_SERVICE = "out-of-service"


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """One alarm: one condition on one tank, from its raise to its return to normal.

    number: what people call it; the same number is the same alarm. key: `Finding.key`.
    episode: how often this key has been raised, this time included. present: the condition
    holds. changed_ms: when it entered its present state. told: this raise rang, so that its end
    is owed to those who heard of it. latched: harm was done once, so it stays open until reset
    by hand. suppressed_by: key of the alarm that stands in its place. release_ms: when that one
    was over and this one may speak again; None while the other still holds.
    """

    number: int
    key: str
    episode: int
    tank: str
    kind: Kind
    quantity: Quantity | None
    probe: str | None
    priority: Priority
    state: State
    present: bool
    raised_ms: int
    since_ms: int
    changed_ms: int
    returned_ms: int | None = None
    acknowledged_ms: int | None = None
    acknowledged_by: str = ""
    value: float | None = None
    window: str = ""
    message: str = ""
    forecast: Forecast | None = None
    children: tuple[str, ...] = ()
    shelved_until_ms: int | None = None
    shelved_why: str = ""
    told: bool = False
    latched: bool = False
    suppressed_by: str = ""
    release_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmChange:
    """One step of one alarm's life, as journalled, published and printed by `replay`."""

    at_ms: int
    alarm: Alarm  # as it is after the change
    before: State
