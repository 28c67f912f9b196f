"""A ring: one raise of one alarm from its beginning to its end, read from the alarm history."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.rationale import title_of
from roewatch.room.kind import Kind, Priority
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """One raise that asked something of a person. acknowledged_ms, returned_ms: None if not yet.

    priority: the highest it reached.
    """

    number: int
    episode: int
    key: str
    tank: str
    kind: Kind
    quantity: Quantity | None
    priority: Priority
    rang_ms: int
    acknowledged_ms: int | None = None
    returned_ms: int | None = None

    @property
    def name(self) -> str:
        """What rang, as people say it: `B2 pH above window`."""
        place = "the room:" if self.tank == ROOM else self.tank
        return f"{place} {title_of(self.kind, self.quantity)}"

    def lasted_ms(self, now_ms: int) -> int:
        """How long its condition held, until `now_ms` at most."""
        return min(self.returned_ms or now_ms, now_ms) - self.rang_ms


def rings_of(changes: Iterable[AlarmChange]) -> list[Ring]:
    """The rings in a history in order of time. Tests, events and suppressed alarms are none."""
    rings: dict[tuple[int, int], Ring] = {}
    for change in changes:
        alarm = change.alarm
        if alarm.kind is Kind.TEST or alarm.priority is Priority.JOURNAL:
            continue
        key = (alarm.number, alarm.episode)
        ring = rings.get(key)
        if ring is None:
            if alarm.state is State.UNACKNOWLEDGED:
                rings[key] = Ring(
                    number=alarm.number,
                    episode=alarm.episode,
                    key=alarm.key,
                    tank=alarm.tank,
                    kind=alarm.kind,
                    quantity=alarm.quantity,
                    priority=alarm.priority,
                    rang_ms=change.at_ms,
                )
            continue
        if alarm.priority.rank < ring.priority.rank:
            ring = replace(ring, priority=alarm.priority)
        if ring.acknowledged_ms is None and alarm.acknowledged_ms is not None:
            ring = replace(ring, acknowledged_ms=change.at_ms)
        if ring.returned_ms is None and not alarm.present:
            ring = replace(ring, returned_ms=change.at_ms)
        rings[key] = ring
    return sorted(rings.values(), key=lambda ring: ring.rang_ms)
