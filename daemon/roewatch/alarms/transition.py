"""A transition: how one alarm passes from one state to the next, and what follows for others."""

from collections.abc import Iterable
from dataclasses import replace

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.alarm_settings import AlarmSettings
from roewatch.alarms.rationale import latches, priority_of
from roewatch.alarms.register import Register
from roewatch.alarms.suppression import STANDS_FOR, stands_for
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM, Room


class Transitions:
    """The rules that hold whatever made an alarm change: evidence, a person, or time."""

    def __init__(self, room: Room, open_alarms: Iterable[Alarm], settings: AlarmSettings) -> None:
        self._settings = settings
        self._register = Register(open_alarms, settle_ms=settings.settle_ms)
        self._read_room(room)

    def _rung(self, alarm: Alarm, at_ms: int) -> State:
        """The state of an alarm whose condition holds and that nobody has silenced."""
        if alarm.priority is Priority.JOURNAL:
            return State.ACKNOWLEDGED  # an event asks nothing of anybody
        return State.SUPPRESSED if self._register.parent_of(alarm, at_ms) else State.UNACKNOWLEDGED

    def _released(self, alarm: Alarm, at_ms: int, by: str) -> list[AlarmChange]:
        free = replace(alarm, shelved_until_ms=None, suppressed_by="", release_ms=None)
        if by:
            free = replace(free, shelved_why="")
        if alarm.present:
            state = self._rung(free, at_ms)
        elif alarm.latched:
            state = State.RETURNED if alarm.acknowledged_ms is None else State.ACKNOWLEDGED
        else:
            # whoever shelved it had seen it; what was only suppressed was perhaps told before
            unseen = alarm.state is State.SUPPRESSED and alarm.told and not alarm.acknowledged_ms
            state = State.RETURNED if unseen else State.NORMAL
        changes = [self._move(free, state, at_ms)]
        # a parent back in service speaks for its children again
        return changes + self._children_of(changes[0].alarm, at_ms)

    def _silence(self, alarm: Alarm, state: State, at_ms: int) -> list[AlarmChange]:
        changes = [self._move(alarm, state, at_ms)]
        return changes + self._children_of(changes[0].alarm, at_ms)

    def _children_of(self, parent: Alarm, at_ms: int) -> list[AlarmChange]:
        if parent.kind not in STANDS_FOR:
            return []
        changes: list[AlarmChange] = []
        for child in self._register.near(parent):
            if child.state is State.SUPPRESSED:
                changes += self._recheck(child, at_ms)
            elif (
                child.state in {State.UNACKNOWLEDGED, State.ACKNOWLEDGED}
                and child.priority is not Priority.JOURNAL
                and stands_for(parent, child)
            ):
                changes.append(self._move(child, State.SUPPRESSED, at_ms))
        return changes

    def _recheck(self, child: Alarm, at_ms: int) -> list[AlarmChange]:
        """Give a suppressed alarm its present parent, or the moment from which it is released."""
        updated = self._register.named_parent(child, at_ms)
        if not updated.suppressed_by:
            due_ms = child.release_ms or at_ms + self._register.settles_ms(child)
            updated = replace(child, release_ms=due_ms)
        return self._keep(child, updated, at_ms)

    def _described(self, alarm: Alarm, finding: Finding) -> Alarm:
        stage = self._stages.get(finding.tank)
        described = replace(
            alarm,
            value=finding.value,
            window=finding.window or alarm.window,
            message=finding.message,
            forecast=finding.forecast,
            children=finding.children or alarm.children,
            latched=alarm.latched or latches(finding.kind, stage, finding.quantity),
        )
        if finding.explained:
            return replace(described, priority=Priority.JOURNAL, latched=alarm.latched)
        return replace(described, priority=self._priority(described, finding.at_ms))

    def _priority(self, alarm: Alarm, at_ms: int) -> Priority:
        """As urgent as it now is; within one raise it never falls, lest it flap."""
        stage = self._stages.get(alarm.tank)
        urgent = priority_of(alarm.kind, stage, alarm.forecast, at_ms, alarm.quantity)
        return urgent if not alarm.present or urgent.rank < alarm.priority.rank else alarm.priority

    def _move(
        self, alarm: Alarm, state: State, at_ms: int, *, before: State | None = None
    ) -> AlarmChange:
        was = alarm.state if before is None else before
        moved = replace(alarm, state=state, changed_ms=at_ms)
        if state is State.UNACKNOWLEDGED:
            moved = replace(moved, acknowledged_ms=None, acknowledged_by="", told=True)
        if state is State.SUPPRESSED:
            moved = self._register.named_parent(moved, at_ms)
        self._register.put(moved)
        return AlarmChange(at_ms=at_ms, alarm=moved, before=was)

    def _keep(self, before: Alarm, after: Alarm, at_ms: int) -> list[AlarmChange]:
        if before == after:
            return []
        self._register.put(after)
        return [AlarmChange(at_ms=at_ms, alarm=after, before=before.state)]

    def _read_room(self, room: Room) -> None:
        self._stages: dict[str, Stage] = {tank.id: tank.stage for tank in room.tanks}
        self._probes = {probe.id for probe in room.probes}

    def _is_gone(self, alarm: Alarm) -> bool:
        if alarm.kind is Kind.NOTICE_UNDELIVERED:
            return False  # its `probe` is a way to a person
        of_tank = alarm.tank != ROOM and alarm.tank not in self._stages
        return of_tank or (alarm.probe is not None and alarm.probe not in self._probes)


def rose(before: Alarm, after: Alarm) -> bool:
    """Whether it has become more urgent."""
    return after.priority.rank < before.priority.rank
