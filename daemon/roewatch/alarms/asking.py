"""Asking: whom an alarm asks to react, when again, and who next if nobody answers."""

from collections.abc import Sequence

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.contact import Contact
from roewatch.alarms.notice import About
from roewatch.alarms.post import Post
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.alarms.told import Ledger, Line, Told
from roewatch.room.kind import Kind, Priority

_FOLLOWS = frozenset(
    {Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW, Kind.FALLING_TOO_FAST, Kind.RISING_TOO_FAST}
)
_CAUSES = frozenset(
    {
        Kind.HEATER_DEAD,
        Kind.HEATER_STUCK_ON,
        Kind.HEATER_WEAK,
        Kind.BAD_WATER_CHANGE,
        Kind.ACID_OVERDOSE,
        Kind.HARD_WATER,
        Kind.PH_CRASH,
        Kind.AERATION_STOPPED,
    }
)
"""What brings the former about sooner or later, and says so in its own alarm."""


class Asking:
    """Rings, repeats and escalates. Works on the ledger and the post it is given; steady time."""

    def __init__(
        self, contacts: Sequence[Contact], settings: TellingSettings, ledger: Ledger, post: Post
    ) -> None:
        self._contacts = tuple(contacts)
        self._settings = settings
        self._ledger = ledger
        self._post = post

    def ring(self, told: Told, before: State, steady_ms: int) -> None:
        """The alarm asks anew, or more urgently; `before` is the state it comes from."""
        alarm = told.alarm
        if before is not State.UNACKNOWLEDGED or told.ringing_ms is None:
            told.ringing_ms, told.reminders, told.failed, told.contacts = steady_ms, 0, [], []
        told.remind_ms = self.next_reminder(told, steady_ms)
        first = self._eligible(alarm)[:1]
        told.contacts = list(dict.fromkeys([*told.contacts, *(c.name for c in first)]))
        wait_ms = self._ring_wait_ms(alarm)
        for contact in told.contacts:
            for line in self._lines_for(alarm, contact):
                over = line.drop(alarm.number, About.RETURNED)
                if over and steady_ms - over.queued_ms <= self._settings.longest_wait_ms:
                    # gone and back before anybody heard it was over: the thread simply goes on
                    line.told[alarm.number] = alarm.episode
                    continue
                known = line.told.get(alarm.number) == alarm.episode
                about = About.REMINDER if known else About.RAISED
                self._post.queue(line, alarm.number, about, steady_ms, wait_ms)

    def _ring_wait_ms(self, alarm: Alarm) -> int:
        """How long it gathers; longer when its cause has been told and has foretold it."""
        if alarm.priority is Priority.HIGH:
            return self._settings.high_wait_ms
        if alarm.kind in _FOLLOWS and any(
            other.present
            and other.kind in _CAUSES
            and (other.tank, other.quantity) == (alarm.tank, alarm.quantity)
            and other.state in {State.UNACKNOWLEDGED, State.ACKNOWLEDGED}
            for other in (told.alarm for told in self._ledger.alarms.values())
        ):
            return self._settings.known_wait_ms
        return self._settings.group_wait_ms

    def repeat(self, told: Told, steady_ms: int) -> bool:
        """Remind those who were told, if it is time; whether anything changed."""
        if told.remind_ms is None or steady_ms < told.remind_ms:
            return False
        number = told.alarm.number
        if not any(number in line.told for line in self._post.lines()):
            told.remind_ms = self.next_reminder(told, steady_ms)
            return True
        told.reminders += 1
        told.remind_ms = self.next_reminder(told, steady_ms)
        # a reminder of what has not arrived yet is none
        on_its_way = {
            s.line for s in self._ledger.sent.values() if s.failing and number in s.numbers
        }
        for contact in told.contacts:
            for line in self.lines_of(contact):
                if number in line.told and line.name not in on_its_way:
                    self._post.queue(line, number, About.REMINDER, steady_ms, 0)
        return True

    def next_reminder(self, told: Told, steady_ms: int) -> int | None:
        """When to remind after now; None for never again."""
        if told.alarm.priority is Priority.HIGH:
            waits = self._settings.remind_high_ms
            return steady_ms + waits[min(told.reminders, len(waits) - 1)]
        medium = self._settings.remind_medium_ms
        return steady_ms + medium[told.reminders] if told.reminders < len(medium) else None

    def escalate(self, told: Told, steady_ms: int) -> bool:
        """Ask the next contact, if it is time; whether anything changed."""
        if told.alarm.priority is not Priority.HIGH or told.ringing_ms is None:
            return False
        waited_ms = steady_ms - told.ringing_ms
        due = waited_ms >= self._settings.escalate_after_ms * len(told.contacts)
        unsent = not any(told.alarm.number in line.told for line in self._post.lines())
        if due or (unsent and waited_ms >= self._settings.undelivered_ms):
            return self._ask_next(told, steady_ms)
        return False

    def stand_in(self, told: Told, failed: Line, steady_ms: int) -> None:
        """A way has failed: use the contact's next one, or the next contact when none is left."""
        number = told.alarm.number
        lines = [line for name in told.contacts for line in self.lines_of(name)]
        for line in lines:
            if line.contact == failed.contact and line.name not in told.failed:
                if number not in line.told and number not in line.waiting:
                    self._post.queue(line, number, About.RAISED, steady_ms, 0)
                return
        if all(line.name in told.failed for line in lines):
            self._ask_next(told, steady_ms)

    def lines_of(self, contact: str) -> list[Line]:
        """The lines of a contact; none of one taken out of the settings since."""
        return self._post.lines_of(contact) if contact in self._post.contacts else []

    def _ask_next(self, told: Told, steady_ms: int) -> bool:
        for contact in self._eligible(told.alarm):
            if contact.name not in told.contacts:
                told.contacts.append(contact.name)
                for line in self._lines_for(told.alarm, contact.name):
                    self._post.queue(line, told.alarm.number, About.ESCALATED, steady_ms, 0)
                return True
        return False

    def _eligible(self, alarm: Alarm) -> list[Contact]:
        return [c for c in self._contacts if alarm.priority.rank <= c.lowest.rank]

    def _lines_for(self, alarm: Alarm, contact: str) -> list[Line]:
        lines = self.lines_of(contact)
        return lines if alarm.priority is Priority.HIGH else lines[:1]
