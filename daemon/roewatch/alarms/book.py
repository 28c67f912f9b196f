"""The alarm book: every open alarm and what may happen to it next, after ISA-18.2.

Transitions happen only on evidence: a finding, a person, or a shelf that ends. Want of data is
not evidence, so silence never returns an alarm to normal.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.alarm_settings import STANDARD, AlarmSettings
from roewatch.alarms.patience import Waits
from roewatch.alarms.rationale import exit_ms
from roewatch.alarms.suppression import STANDS_FOR
from roewatch.alarms.transition import Transitions, rose
from roewatch.judging.finding import Finding
from roewatch.room.kind import Priority
from roewatch.room.moment import span_text
from roewatch.room.tank import Room


class UnknownAlarm(ValueError):  # noqa: N818  # named as it reads where it is caught
    """No open alarm has that number."""


class NotNow(ValueError):  # noqa: N818
    """The alarm is in a state in which that cannot be done; the text says why."""


_SILENCED = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})


class AlarmBook(Transitions):
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
        super().__init__(room, open_alarms, settings)
        self._next_number = next_number
        self._episodes = dict(episodes or {})
        for alarm in self._register:
            self._next_number = max(self._next_number, alarm.number + 1)
            self._episodes[alarm.key] = max(self._episodes.get(alarm.key, 0), alarm.episode)
        self._waits = Waits()
        self._sweep_gone = False

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
        if alarm.state is State.ACKNOWLEDGED and rose(alarm, updated):
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
        if rose(alarm, urgent):
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
        leaves_ms = exit_ms(alarm.forecast)
        if leaves_ms is not None and 0 < leaves_ms - alarm.changed_ms <= after_ms:
            after_ms //= 2  # before the water has left its window, not after
        # what has stood for long is asked about less and less: after 4, 12, 36 hours; in between
        # every daily message lists it
        known_ms = alarm.changed_ms - alarm.raised_ms
        return self._waits.since(alarm.changed_ms, now_ms) >= max(after_ms, 2 * known_ms)

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

    def _silenced(self, alarm: Alarm, why: str, by: str, at_ms: int) -> Alarm:
        return replace(
            alarm,
            shelved_why=why.strip(),
            acknowledged_ms=alarm.acknowledged_ms or at_ms,
            acknowledged_by=alarm.acknowledged_by or by,
            suppressed_by="",
            release_ms=None,
        )

    def _known(self, number: int) -> Alarm:
        alarm = self._register.of_number(number)
        if alarm is None:
            raise UnknownAlarm(f"no open alarm has number {number}; it may be back to normal")
        return alarm


def _words(alarm: Alarm) -> str:
    return {
        State.SHELVED: "shelved",
        State.SUPPRESSED: f"suppressed by design ({alarm.suppressed_by})",
        State.OUT_OF_SERVICE: "out of service",
    }.get(alarm.state, alarm.state.value)
