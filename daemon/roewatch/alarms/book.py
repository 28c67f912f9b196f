"""The alarm book: every open alarm and what may happen to it next, after ISA-18.2.

Transitions happen only on evidence: a finding, a person, or a shelf that ends. Want of data is
not evidence, so silence never returns an alarm to normal.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.patience import Waits
from roewatch.alarms.rationale import latches, priority_of
from roewatch.alarms.register import Register
from roewatch.alarms.suppression import STANDS_FOR, stands_for
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, span_text
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM, Room


class UnknownAlarm(ValueError):  # noqa: N818  # named as it reads where it is caught
    """No open alarm has that number."""


class NotNow(ValueError):  # noqa: N818
    """The alarm is in a state in which that cannot be done; the text says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSettings:
    """realarm_ms: an acknowledged alarm that still holds asks again after this, by priority.

    settle_ms: how long after the end of a suppressing alarm its children, new ones as well, stay
    quiet, so that those which end with it are never told. longest_shelf_ms: the bound of a shelf.
    stale_ms: a medium alarm older than this is in the daily digest and no longer asks again.
    """

    realarm_ms: Mapping[Priority, int]
    settle_ms: int = 10 * MINUTE_MS
    longest_shelf_ms: int = DAY_MS
    stale_ms: int = DAY_MS


STANDARD = AlarmSettings(realarm_ms={Priority.HIGH: 2 * HOUR_MS, Priority.MEDIUM: 6 * HOUR_MS})

_SILENCED = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})


class AlarmBook:
    """Open alarms by number, and the rules of their life. Pure: time comes in as arguments."""

    def __init__(
        self,
        room: Room,
        open_alarms: Iterable[Alarm] = (),
        *,
        next_number: int = 1,
        episodes: Mapping[str, int] | None = None,
        settings: AlarmSettings = STANDARD,
    ) -> None:
        """open_alarms, next_number, episodes: as kept; episodes counts past raises by key."""
        self._settings = settings
        self._register = Register(open_alarms, settle_ms=settings.settle_ms)
        self._next_number = next_number
        self._episodes = dict(episodes or {})
        for alarm in self._register:
            self._next_number = max(self._next_number, alarm.number + 1)
            self._episodes[alarm.key] = max(self._episodes.get(alarm.key, 0), alarm.episode)
        self._waits = Waits()
        self._sweep_gone = False
        self._read_room(room)

    # -- evidence ---------------------------------------------------------------------------

    def take(self, finding: Finding) -> list[AlarmChange]:
        """Raise, update or return the alarm of the finding's key, and what follows from it."""
        alarm = self._register.of_key(finding.key)
        if alarm is None:
            if not finding.present:
                return []
            changes = [self._raise(finding)]
        elif finding.present:
            changes = self._update(alarm, finding)
        else:
            changes = self._return(alarm, finding)
        if finding.kind in STANDS_FOR and changes:
            if not finding.present:
                self._register.ended(changes[0].alarm, finding.at_ms)
            changes += self._children_of(changes[0].alarm, finding.at_ms)
        return changes

    def _raise(self, finding: Finding) -> AlarmChange:
        episode = self._episodes.get(finding.key, 0) + 1
        self._episodes[finding.key] = episode
        alarm = Alarm(
            number=self._next_number,
            key=finding.key,
            episode=episode,
            tank=finding.tank,
            kind=finding.kind,
            quantity=finding.quantity,
            probe=finding.probe,
            priority=Priority.JOURNAL,
            state=State.NORMAL,
            present=True,
            raised_ms=finding.at_ms,
            since_ms=finding.since_ms,
            changed_ms=finding.at_ms,
        )
        self._next_number += 1
        alarm = self._described(alarm, finding)
        return self._move(
            alarm, self._rung(alarm, finding.at_ms), finding.at_ms, before=State.NORMAL
        )

    def _update(self, alarm: Alarm, finding: Finding) -> list[AlarmChange]:
        updated = self._described(alarm, finding)
        if not alarm.present:
            updated = self._again(updated, finding)
            if alarm.state not in _SILENCED:
                return [self._move(updated, self._rung(updated, finding.at_ms), finding.at_ms)]
        if alarm.state in _SILENCED:
            return self._keep(alarm, updated, finding.at_ms)
        if updated.priority is Priority.JOURNAL and alarm.priority is not Priority.JOURNAL:
            return [self._move(updated, State.ACKNOWLEDGED, finding.at_ms)]
        if alarm.state is State.ACKNOWLEDGED and _rose(alarm, updated):
            return [self._move(updated, self._rung(updated, finding.at_ms), finding.at_ms)]
        return self._keep(alarm, updated, finding.at_ms)

    def _again(self, alarm: Alarm, finding: Finding) -> Alarm:
        """The same record raised once more: a second crossing is not a second alarm."""
        episode = self._episodes[alarm.key] = alarm.episode + 1
        return replace(
            alarm,
            present=True,
            episode=episode,
            raised_ms=finding.at_ms,
            since_ms=finding.since_ms,
            returned_ms=None,
            told=False,
        )

    def _return(self, alarm: Alarm, finding: Finding) -> list[AlarmChange]:
        if not alarm.present:
            return []
        gone = replace(
            alarm,
            present=False,
            returned_ms=finding.at_ms,
            value=finding.value if finding.value is not None else alarm.value,
            message=finding.message or alarm.message,
            forecast=None,
        )
        if alarm.state in _SILENCED:
            return self._keep(alarm, gone, finding.at_ms)
        if alarm.state is State.UNACKNOWLEDGED:
            return [self._move(gone, State.RETURNED, finding.at_ms)]
        state = State.ACKNOWLEDGED if alarm.latched else State.NORMAL
        return [self._move(gone, state, finding.at_ms)]

    # -- people -----------------------------------------------------------------------------

    def acknowledge(self, number: int, by: str, at_ms: int) -> list[AlarmChange]:
        """`by` has seen it. Nothing changes if somebody already has.

        Raises UnknownAlarm, or NotNow while the alarm is silenced.
        """
        alarm = self._known(number)
        if alarm.state is State.ACKNOWLEDGED:
            return []
        if alarm.state in _SILENCED:
            raise NotNow(f"alarm {number} is {_words(alarm)}: end that first, then acknowledge")
        seen = replace(alarm, acknowledged_ms=at_ms, acknowledged_by=by)
        done = alarm.state is State.RETURNED and not alarm.latched
        return [self._move(seen, State.NORMAL if done else State.ACKNOWLEDGED, at_ms)]

    def reset(self, number: int, by: str, at_ms: int) -> list[AlarmChange]:
        """`by` has looked at what a latched alarm is about, and closes it.

        Raises UnknownAlarm, or NotNow if it is not latched or its condition still holds.
        """
        alarm = self._known(number)
        if not alarm.latched:
            raise NotNow(f"alarm {number} is not latched: acknowledge it instead")
        if alarm.present:
            raise NotNow(f"alarm {number} still holds: put the water right first")
        if alarm.state in _SILENCED:
            raise NotNow(f"alarm {number} is {_words(alarm)}: end that first, then reset")
        seen = replace(alarm, acknowledged_ms=at_ms, acknowledged_by=by)
        return [self._move(seen, State.NORMAL, at_ms)]

    def shelve(
        self, number: int, until_ms: int, why: str, by: str, at_ms: int
    ) -> list[AlarmChange]:
        """Silence the alarm until then; it ends by itself.

        Raises UnknownAlarm, or NotNow for a shelf without a reason, in the past or too long.
        """
        alarm = self._known(number)
        longest = self._settings.longest_shelf_ms
        if not at_ms < until_ms <= at_ms + longest:
            raise NotNow(f"a shelf ends later than now and within {span_text(longest)}")
        if not why.strip():
            raise NotNow("a shelf needs a reason: say why, in a word or two")
        if alarm.state is State.OUT_OF_SERVICE:
            raise NotNow(f"alarm {number} is {_words(alarm)}: return it to service first")
        shelved = self._silenced(alarm, why, by, at_ms)
        shelved = replace(shelved, shelved_until_ms=until_ms)
        return self._silence(shelved, State.SHELVED, at_ms)

    def unshelve(self, number: int, by: str, at_ms: int) -> list[AlarmChange]:
        """End the shelf now; raises again if the condition holds. Raises UnknownAlarm, NotNow."""
        alarm = self._known(number)
        if alarm.state is not State.SHELVED:
            raise NotNow(f"alarm {number} is not shelved, it is {_words(alarm)}")
        return self._released(alarm, at_ms, by)

    def out_of_service(self, number: int, why: str, by: str, at_ms: int) -> list[AlarmChange]:
        """Silence the alarm for maintenance, until a person returns it to service.

        Raises UnknownAlarm, or NotNow without a reason or if it is out of service already.
        """
        alarm = self._known(number)
        if not why.strip():
            raise NotNow("taking an alarm out of service needs a reason: say why")
        if alarm.state is State.OUT_OF_SERVICE:
            raise NotNow(f"alarm {number} is out of service already")
        return self._silence(self._silenced(alarm, why, by, at_ms), State.OUT_OF_SERVICE, at_ms)

    def return_to_service(self, number: int, by: str, at_ms: int) -> list[AlarmChange]:
        """End it; raises again if the condition holds. Raises UnknownAlarm, NotNow."""
        alarm = self._known(number)
        if alarm.state is not State.OUT_OF_SERVICE:
            raise NotNow(f"alarm {number} is not out of service, it is {_words(alarm)}")
        return self._released(alarm, at_ms, by)

    # -- time -------------------------------------------------------------------------------

    def advance(self, now_ms: int) -> list[AlarmChange]:
        """Let time pass: shelves end, children are released, urgency grows, alarms ask again."""
        changes: list[AlarmChange] = []
        self._waits.look(now_ms)
        for alarm in self._register:
            changes += self._aged(alarm, now_ms)
        self._sweep_gone = False
        return changes

    def _aged(self, alarm: Alarm, now_ms: int) -> list[AlarmChange]:
        if self._sweep_gone and self._is_gone(alarm):
            gone = replace(alarm, present=False, message=f"{alarm.tank} is no longer watched")
            return [self._move(gone, State.NORMAL, now_ms)]
        if alarm.state is State.SHELVED:
            due = alarm.shelved_until_ms is None or now_ms >= alarm.shelved_until_ms
            return self._released(alarm, now_ms, "") if due else []
        if alarm.state is State.SUPPRESSED:
            due = alarm.release_ms is not None and now_ms >= alarm.release_ms
            return self._released(alarm, now_ms, "") if due else []
        if not alarm.present or alarm.priority is Priority.JOURNAL:
            return []
        urgent = replace(alarm, priority=self._priority(alarm, now_ms))
        if _rose(alarm, urgent):
            if alarm.state is State.ACKNOWLEDGED:
                return [self._move(urgent, self._rung(urgent, now_ms), now_ms)]
            return self._keep(alarm, urgent, now_ms)
        return (
            [self._move(alarm, self._rung(alarm, now_ms), now_ms)]
            if self._asks(alarm, now_ms)
            else []
        )

    def _asks(self, alarm: Alarm, now_ms: int) -> bool:
        after_ms = self._settings.realarm_ms.get(alarm.priority)
        if alarm.state is not State.ACKNOWLEDGED or after_ms is None:
            return False
        stale = now_ms - alarm.raised_ms >= self._settings.stale_ms
        if stale and alarm.priority is not Priority.HIGH:
            return False
        # what has stood for long is asked about less and less: after 2, 4, 8, 16 hours
        known_ms = alarm.changed_ms - alarm.raised_ms
        return self._waits.since(alarm.changed_ms, now_ms) >= max(after_ms, known_ms)

    # -- what others read -------------------------------------------------------------------

    def open(self) -> list[Alarm]:
        """Every alarm that is not back to normal, in order of number."""
        return list(self._register)

    def alarm(self, number: int) -> Alarm:
        """The open alarm of that number. Raises UnknownAlarm."""
        return self._known(number)

    def reconfigure(self, room: Room) -> None:
        """Use new settings; priorities and vanished tanks follow at the next `advance`."""
        self._read_room(room)
        self._sweep_gone = True

    # -- the rules --------------------------------------------------------------------------

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

    def _silenced(self, alarm: Alarm, why: str, by: str, at_ms: int) -> Alarm:
        return replace(
            alarm,
            shelved_why=why.strip(),
            acknowledged_ms=alarm.acknowledged_ms or at_ms,
            acknowledged_by=alarm.acknowledged_by or by,
            suppressed_by="",
            release_ms=None,
        )

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
            due_ms = child.release_ms or at_ms + self._settings.settle_ms
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
            latched=alarm.latched or latches(finding.kind, stage),
        )
        if finding.explained:
            return replace(described, priority=Priority.JOURNAL, latched=alarm.latched)
        return replace(described, priority=self._priority(described, finding.at_ms))

    def _priority(self, alarm: Alarm, at_ms: int) -> Priority:
        """As urgent as it now is; within one raise it never falls, lest it flap."""
        stage = self._stages.get(alarm.tank)
        urgent = priority_of(alarm.kind, stage, alarm.forecast, at_ms, alarm.quantity)
        return urgent if not alarm.present or urgent.rank < alarm.priority.rank else alarm.priority

    # -- keeping ----------------------------------------------------------------------------

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

    def _known(self, number: int) -> Alarm:
        alarm = self._register.of_number(number)
        if alarm is None:
            raise UnknownAlarm(f"no open alarm has number {number}; it may be back to normal")
        return alarm

    def _read_room(self, room: Room) -> None:
        self._stages: dict[str, Stage] = {tank.id: tank.stage for tank in room.tanks}
        self._probes = {probe.id for probe in room.probes}

    def _is_gone(self, alarm: Alarm) -> bool:
        if alarm.kind is Kind.NOTICE_UNDELIVERED:
            return False  # its `probe` is a way to a person
        of_tank = alarm.tank != ROOM and alarm.tank not in self._stages
        return of_tank or (alarm.probe is not None and alarm.probe not in self._probes)


def _rose(before: Alarm, after: Alarm) -> bool:
    return after.priority.rank < before.priority.rank


def _words(alarm: Alarm) -> str:
    return {
        State.SHELVED: "shelved",
        State.SUPPRESSED: f"suppressed by design ({alarm.suppressed_by})",
        State.OUT_OF_SERVICE: "out of service",
    }.get(alarm.state, alarm.state.value)
