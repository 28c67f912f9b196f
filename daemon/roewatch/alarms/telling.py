"""Telling: who is told of an alarm, when again, and who next if nobody answers."""

from collections.abc import Sequence

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.contact import Contact
from roewatch.alarms.daily import Daily, daily_text
from roewatch.alarms.delivery import delivery_finding
from roewatch.alarms.local_time import local_clock
from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.alarms.patience import Patience
from roewatch.alarms.post import RAISING, Post
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.alarms.told import Ledger, Line, Told
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.tank import Room

_FAILED = frozenset({Outcome.REFUSED, Outcome.GIVEN_UP})
_TELL = frozenset({Priority.HIGH, Priority.MEDIUM})


class Teller:
    """Turns alarm changes and time into notices. Pure; `state` must survive a restart."""

    def __init__(
        self,
        room: Room,
        contacts: Sequence[Contact],
        *,
        state: str | None = None,
        settings: TellingSettings | None = None,
    ) -> None:
        """state: what `state()` returned before the restart. Raises ValueError if it is not."""
        self._room = room
        self._contacts = tuple(contacts)
        self._settings = settings or TellingSettings()
        self._ledger = Ledger.of(state) if state else Ledger()
        self._post = Post(room, contacts, self._settings, self._ledger)
        self._patience = Patience(self._ledger.offset_ms)
        self._daily = Daily(room, self._ledger.days)
        self._started_ms: int | None = None
        self._looked_ms: int | None = None
        self._text: str | None = state

    # -- what happens -----------------------------------------------------------------------

    def take(self, changes: Sequence[AlarmChange], now_ms: int) -> list[Notice]:
        """Hear of alarm changes; returns the notices that are ready at once."""
        steady_ms = self._look(now_ms)
        for change in changes:
            self._hear(change, steady_ms)
        return self._ready(now_ms, steady_ms)

    def advance(self, now_ms: int) -> list[Notice]:
        """Let time pass: gathered messages, repeats, escalations and the daily message."""
        steady_ms = self._look(now_ms)
        for told in list(self._ledger.alarms.values()):
            if told.ringing_ms is not None:
                self._repeat(told, steady_ms)
                self._escalate(told, steady_ms)
        return self._ready(now_ms, steady_ms) + self._day(now_ms)

    def hear(self, receipt: Receipt, now_ms: int) -> list[Notice]:
        """Learn what became of a notice: when a way fails, another way or person is told."""
        steady_ms = self._look(now_ms)
        sent = self._ledger.sent.get(receipt.notice)
        line = self._ledger.lines.get(sent.line) if sent else None
        if sent is None or line is None:
            return []
        final = receipt.outcome is not Outcome.TRY_LATER
        self._text = None
        sent.failing = not final
        if final:
            del self._ledger.sent[receipt.notice]
        late = now_ms - sent.made_ms >= self._settings.undelivered_ms
        failed = late if receipt.outcome is Outcome.TRY_LATER else receipt.outcome in _FAILED
        for number in sent.numbers if sent.raising else ():
            told = self._ledger.alarms.get(number)
            if told is None:
                continue
            if receipt.outcome is Outcome.TAKEN:
                told.failed = [name for name in told.failed if name != line.name]
            elif failed and line.name not in told.failed:
                told.failed.append(line.name)
                if told.ringing_ms is not None:
                    self._stand_in(told, line, steady_ms)
        return self._ready(now_ms, steady_ms)

    def delivery(self, receipt: Receipt) -> Finding | None:
        """What a receipt says about its way, for the alarm book; ask before `hear`."""
        sent = self._ledger.sent.get(receipt.notice)
        line = self._ledger.lines.get(sent.line) if sent else None
        if sent is None or line is None:
            return None
        patience_ms = self._settings.undelivered_ms
        return delivery_finding(line.way, receipt, made_ms=sent.made_ms, patience_ms=patience_ms)

    def test(self, now_ms: int) -> list[Notice]:
        """A test notice for every way of every contact; it counts against no limit."""
        self._text = None
        at = local_clock(now_ms, self._room.zone, now_ms)
        title = f"TEST {self._room.name}: nothing is wrong"
        body = (
            f"A test asked for at {at} {self._room.zone}. No animal is in danger. "
            "If you can read this, this way of reaching you works."
        )
        return [
            self._post.note(line, About.TEST, (title, body), Priority.HIGH, now_ms)
            for line in self._post.lines()
        ]

    def wants(self, notice: Notice) -> bool:
        """Whether a notice not yet handed over is still worth sending.

        A raise is not, once it is acknowledged, silenced or over: its closing notice tells all.
        """
        if notice.about not in RAISING or not notice.alarms:
            return True
        found = (self._ledger.alarms.get(number) for number in notice.alarms)
        return any(told is not None and told.ringing_ms is not None for told in found)

    def next_ms(self, now_ms: int) -> int | None:
        """When something gathered is ready that was not yet when last looked; None for never.

        At or before `now_ms` means: call `advance` now. A caller that asks need not poll.
        """
        looked_ms = (
            now_ms - self._patience.offset_ms if self._looked_ms is None else self._looked_ms
        )
        next_ms = self._post.next_ms(looked_ms)
        return None if next_ms is None else next_ms + self._patience.offset_ms

    def state(self) -> str:
        """Everything that must survive a restart, as JSON; cheap when nothing has changed."""
        if self._text is None:
            self._ledger.offset_ms = self._patience.offset_ms
            self._text = self._ledger.text()
        return self._text

    def reconfigure(self, room: Room) -> None:
        """Speak of the room as it now is: its tanks, racks and stages."""
        self._room = room
        self._post.room = room
        self._daily = Daily(room, self._ledger.days)

    # -- one change -------------------------------------------------------------------------

    def _hear(self, change: AlarmChange, steady_ms: int) -> None:
        alarm = change.alarm
        self._text = None
        if alarm.kind is Kind.TEST:
            self._hear_test(change, steady_ms)
            return
        rings_low = alarm.priority is Priority.LOW and alarm.state is State.UNACKNOWLEDGED
        if rings_low or alarm.number in self._ledger.notes:
            self._ledger.notes[alarm.number] = alarm
        told = self._ledger.alarms.get(alarm.number)
        if told is None:
            if alarm.priority not in _TELL:
                return
            told = self._ledger.alarms[alarm.number] = Told(alarm)
        before, told.alarm = told.alarm, alarm
        if not alarm.present:
            self._over(told, steady_ms)
        elif alarm.state is State.UNACKNOWLEDGED and alarm.priority in _TELL:
            new = change.before is not State.UNACKNOWLEDGED or told.ringing_ms is None
            if new or alarm.priority.rank < before.priority.rank:
                self._ring(told, change, steady_ms)
        else:
            self._hush(told)
            if alarm.state is State.ACKNOWLEDGED:
                self._taken_on(told, steady_ms)
        self._forget_if_done(told)

    def _ring(self, told: Told, change: AlarmChange, steady_ms: int) -> None:
        alarm = told.alarm
        if change.before is not State.UNACKNOWLEDGED or told.ringing_ms is None:
            told.ringing_ms, told.reminders, told.failed, told.contacts = steady_ms, 0, [], []
        told.remind_ms = self._next_reminder(told, steady_ms)
        first = self._eligible(alarm)[:1]
        told.contacts = list(dict.fromkeys([*told.contacts, *(c.name for c in first)]))
        high = alarm.priority is Priority.HIGH
        wait_ms = self._settings.high_wait_ms if high else self._settings.group_wait_ms
        for contact in told.contacts:
            for line in self._lines_for(alarm, contact):
                if line.drop(alarm.number, About.RETURNED):
                    # gone and back before anybody heard it was over: the thread simply goes on
                    line.told[alarm.number] = alarm.episode
                    continue
                known = line.told.get(alarm.number) == alarm.episode
                about = About.REMINDER if known else About.RAISED
                self._post.queue(line, alarm.number, about, steady_ms, wait_ms)

    def _over(self, told: Told, steady_ms: int) -> None:
        self._hush(told)
        number = told.alarm.number
        for line in self._post.lines():
            if number in line.told:
                wait_ms = self._settings.group_wait_ms
                self._post.queue(line, number, About.RETURNED, steady_ms, wait_ms)

    def _hush(self, told: Told) -> None:
        """Nobody need react any more: what has not been told yet never will be."""
        told.ringing_ms = told.remind_ms = None
        for line in self._post.lines():
            line.drop(told.alarm.number, *RAISING)

    def _taken_on(self, told: Told, steady_ms: int) -> None:
        """The others who were told learn who has it."""
        by = told.alarm.acknowledged_by
        if not by or len(told.contacts) < 2:
            return
        for contact in told.contacts:
            knows = [line for line in self._lines_of(contact) if told.alarm.number in line.told]
            if contact != by and knows:
                self._post.queue(knows[0], told.alarm.number, About.TAKEN_ON, steady_ms, 0)

    def _hear_test(self, change: AlarmChange, steady_ms: int) -> None:
        if change.alarm.state is not State.UNACKNOWLEDGED:
            return
        if change.alarm.number in self._ledger.alarms:
            return
        self._ledger.alarms[change.alarm.number] = Told(change.alarm)
        for line in self._post.lines():
            self._post.queue(line, change.alarm.number, About.TEST, steady_ms, 0)

    # -- time -------------------------------------------------------------------------------

    def _look(self, now_ms: int) -> int:
        before = self._patience.offset_ms
        steady_ms = self._patience.steady_ms(now_ms)
        if self._patience.offset_ms != before:
            self._text = None
        if self._started_ms is None:
            self._started_ms = steady_ms
        return steady_ms

    def _repeat(self, told: Told, steady_ms: int) -> None:
        if told.remind_ms is None or steady_ms < told.remind_ms:
            return
        self._text = None
        if not any(told.alarm.number in line.told for line in self._post.lines()):
            told.remind_ms = self._next_reminder(told, steady_ms)
            return
        told.reminders += 1
        told.remind_ms = self._next_reminder(told, steady_ms)
        number = told.alarm.number
        # a reminder of what has not arrived yet is none
        on_its_way = {
            s.line for s in self._ledger.sent.values() if s.failing and number in s.numbers
        }
        for contact in told.contacts:
            for line in self._lines_of(contact):
                if number in line.told and line.name not in on_its_way:
                    self._post.queue(line, number, About.REMINDER, steady_ms, 0)

    def _next_reminder(self, told: Told, steady_ms: int) -> int | None:
        if told.alarm.priority is Priority.HIGH:
            waits = self._settings.remind_high_ms
            return steady_ms + waits[min(told.reminders, len(waits) - 1)]
        medium = self._settings.remind_medium_ms
        return steady_ms + medium[told.reminders] if told.reminders < len(medium) else None

    def _escalate(self, told: Told, steady_ms: int) -> None:
        if told.alarm.priority is not Priority.HIGH or told.ringing_ms is None:
            return
        waited_ms = steady_ms - told.ringing_ms
        due = waited_ms >= self._settings.escalate_after_ms * len(told.contacts)
        unsent = not any(told.alarm.number in line.told for line in self._post.lines())
        if due or (unsent and waited_ms >= self._settings.undelivered_ms):
            self._ask_next(told, steady_ms)

    def _ask_next(self, told: Told, steady_ms: int) -> None:
        for contact in self._eligible(told.alarm):
            if contact.name not in told.contacts:
                self._text = None
                told.contacts.append(contact.name)
                for line in self._lines_for(told.alarm, contact.name):
                    self._post.queue(line, told.alarm.number, About.ESCALATED, steady_ms, 0)
                return

    def _stand_in(self, told: Told, failed: Line, steady_ms: int) -> None:
        """A way has failed: use the contact's next one, or the next contact when none is left."""
        number = told.alarm.number
        lines = [line for name in told.contacts for line in self._lines_of(name)]
        for line in lines:
            if line.contact == failed.contact and line.name not in told.failed:
                if number not in line.told and number not in line.waiting:
                    self._post.queue(line, number, About.RAISED, steady_ms, 0)
                return
        if all(line.name in told.failed for line in lines):
            self._ask_next(told, steady_ms)

    def _ready(self, now_ms: int, steady_ms: int) -> list[Notice]:
        started_ms = steady_ms if self._started_ms is None else self._started_ms
        hold_until_ms = started_ms + self._settings.start_hold_ms
        self._looked_ms = steady_ms
        notices = self._post.release(now_ms, steady_ms, hold_until_ms)
        if notices:
            self._text = None
            for notice in notices:
                for number in notice.alarms:
                    told = self._ledger.alarms.get(number)
                    if told is not None and told.remind_ms is not None:
                        # counted from when it was told: quiet hours may have held it back
                        told.remind_ms = self._next_reminder(told, steady_ms)
                    self._forget_if_done(told)
        return notices

    def _day(self, now_ms: int) -> list[Notice]:
        days_before = dict(self._ledger.days)
        well = self._daily.is_due("well", self._settings.well_at_min, now_ms)
        digest = self._daily.is_due("digest", self._settings.digest_at_min, now_ms)
        if self._ledger.days != days_before:
            self._text = None
        if not well and not digest:
            return []
        standing = [told.alarm for told in self._ledger.alarms.values() if told.alarm.present]
        notes = self._ledger.notes.values()
        about, title, body = daily_text(self._room, standing, notes, now_ms)
        # the morning word always goes out, whatever it says: its absence is the sign
        if not self._contacts or not (well or (digest and about is About.DIGEST)):
            return []
        self._ledger.notes = {}
        first = self._contacts[0]
        line = self._post.lines_of(first.name)[0]
        return [self._post.note(line, about, (title, body), Priority.LOW, now_ms)]

    # -- who --------------------------------------------------------------------------------

    def _eligible(self, alarm: Alarm) -> list[Contact]:
        return [c for c in self._contacts if alarm.priority.rank <= c.lowest.rank]

    def _lines_of(self, contact: str) -> list[Line]:
        # a contact taken out of the settings may still stand in an alarm's list
        return self._post.lines_of(contact) if contact in self._post.contacts else []

    def _lines_for(self, alarm: Alarm, contact: str) -> list[Line]:
        lines = self._lines_of(contact)
        return lines if alarm.priority is Priority.HIGH else lines[:1]

    def _forget_if_done(self, told: Told | None) -> None:
        if told is None or (told.alarm.present and told.alarm.kind is not Kind.TEST):
            return
        number = told.alarm.number
        if not any(number in line.told or number in line.waiting for line in self._post.lines()):
            self._ledger.forget(number)
            self._ledger.sent = {
                notice: sent
                for notice, sent in self._ledger.sent.items()
                if not sent.numbers or any(n in self._ledger.alarms for n in sent.numbers)
            }
