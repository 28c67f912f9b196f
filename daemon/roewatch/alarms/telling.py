"""Telling: alarm changes and time become notices, as few as safety allows."""

from collections.abc import Sequence

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.asking import Asking
from roewatch.alarms.contact import Contact
from roewatch.alarms.daily import Daily, daily_text
from roewatch.alarms.delivery import delivery_finding
from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.alarms.patience import Patience
from roewatch.alarms.post import RAISING, Post
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.alarms.told import Ledger, Line, Told
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.local_time import local_clock
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
        self._asking = Asking(contacts, self._settings, self._ledger, self._post)
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
                reminded = self._asking.repeat(told, steady_ms)
                if self._asking.escalate(told, steady_ms) or reminded:
                    self._text = None
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
                    self._asking.stand_in(told, line, steady_ms)
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
                self._asking.ring(told, change.before, steady_ms)
        else:
            self._hush(told)
            if alarm.state is State.ACKNOWLEDGED:
                self._taken_on(told, steady_ms)
        self._forget_if_done(told)

    def _over(self, told: Told, steady_ms: int) -> None:
        self._hush(told)
        number = told.alarm.number
        for line in self._post.lines():
            if number in line.told:
                wait_ms = self._closing_wait_ms(line, told.alarm)
                self._post.queue(line, number, About.RETURNED, steady_ms, wait_ms)

    def _closing_wait_ms(self, line: Line, alarm: Alarm) -> int:
        """How long the end of an alarm waits: nobody need hurry because of good news.

        What has befallen a tank is told as over once, when the last of it is. The end of what was
        not urgent, or of what somebody has in hand, is told with the daily message, or with any
        other end that is told before; nobody must run for a high alarm that is over by itself.
        """
        of_tank = [
            told.alarm
            for number in line.told
            if (told := self._ledger.alarms.get(number)) and told.alarm.tank == alarm.tank
        ]
        if any(other.present for other in of_tank):
            return self._settings.closing_wait_ms
        runs = any(o.priority is Priority.HIGH and o.acknowledged_ms is None for o in of_tank)
        if runs or line is not self._daily_line() or not self._settings.is_daily:
            return self._settings.group_wait_ms
        return self._settings.closing_wait_ms

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
            knows = [
                line for line in self._asking.lines_of(contact) if told.alarm.number in line.told
            ]
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
                        told.remind_ms = self._asking.next_reminder(told, steady_ms)
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
        line = self._daily_line()
        standing = [told.alarm for told in self._ledger.alarms.values() if told.alarm.present]
        notes = self._ledger.notes.values()
        over = [] if line is None else self._post.closings(line)
        about, title, body = daily_text(self._room, standing, over, notes, now_ms)
        # the morning word always goes out, whatever it says: its absence is the sign
        if line is None or not (well or (digest and about is About.DIGEST)):
            return []
        self._ledger.notes = {}
        notice = self._post.note(line, about, (title, body), Priority.LOW, now_ms, over)
        self._post.closed(line, over)
        for alarm in over:
            self._forget_if_done(self._ledger.alarms.get(alarm.number))
        return [notice]

    def _daily_line(self) -> Line | None:
        """The way the daily message takes: the first of the first contact."""
        return self._post.lines_of(self._contacts[0].name)[0] if self._contacts else None

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
