"""The post: what waits for each way of each contact, gathered into as few messages as can be."""

import hashlib
import itertools
from collections.abc import Iterable, Mapping, Sequence

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.contact import Contact
from roewatch.alarms.message import Wording
from roewatch.alarms.notice import About, Notice
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.alarms.token import make_token
from roewatch.alarms.told import Ledger, Line, Sent, Waiting
from roewatch.room.kind import Priority
from roewatch.room.local_time import local_minute
from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Room

RAISING = (About.RAISED, About.ESCALATED, About.REMINDER)
"""What makes a receiver know of an alarm, most urgent first; a closing notice is then owed."""

_ORDER = (*RAISING, About.RETURNED, About.TAKEN_ON, About.TEST)


class Post:
    """Queues and releases messages of one room. Works on the ledger it is given."""

    def __init__(
        self, room: Room, contacts: Sequence[Contact], settings: TellingSettings, ledger: Ledger
    ) -> None:
        self.room = room
        self._settings = settings
        self._ledger = ledger
        self.contacts: Mapping[str, Contact] = {contact.name: contact for contact in contacts}
        wanted = [Line(contact.name, way) for contact in contacts for way in contact.ways]
        # ways taken out of the settings are forgotten, those kept go on where they were
        ledger.lines = {line.name: ledger.lines.get(line.name, line) for line in wanted}

    def lines_of(self, contact: str, ways: Iterable[str] | None = None) -> list[Line]:
        """The lines of one contact, all of them or those of the ways named."""
        chosen = self.contacts[contact].ways if ways is None else tuple(ways)
        return [self._ledger.lines[f"{contact}/{way}"] for way in chosen]

    def lines(self) -> list[Line]:
        """Every line."""
        return list(self._ledger.lines.values())

    def queue(self, line: Line, number: int, about: About, at_ms: int, wait_ms: int) -> None:
        """Let `line` be told about an alarm after `wait_ms`; steady time.

        What comes while others of its crowd wait makes all of them wait a little longer, within
        a bound, so that many tanks failing one after the other become one message.
        """
        before = line.waiting.get(number)
        if before is not None and _reason(before.about) is _reason(about):
            return
        gathers = 0 < wait_ms <= self._settings.longest_wait_ms
        kind = self._crowd(number, about) if gathers else ""
        if kind and about in RAISING and self._is_flooded(line, at_ms):
            wait_ms = self._settings.longest_wait_ms
        crowd = self._join(line, kind, at_ms, wait_ms) if kind else ""
        waiting = line.waiting[number] = Waiting(number, about, at_ms, at_ms + wait_ms, crowd)
        line.idle_until_ms = min(line.idle_until_ms, line.ready_ms(waiting))

    def _join(self, line: Line, kind: str, at_ms: int, wait_ms: int) -> str:
        """The crowd of that kind which still gathers, a little longer now; else a new one."""
        for crowd, (first_ms, until_ms) in line.gather.items():
            if crowd.startswith(kind) and first_ms <= at_ms < until_ms:
                longest_ms = first_ms + self._settings.longest_wait_ms
                longer_ms = min(at_ms + self._settings.group_wait_ms, longest_ms)
                line.gather[crowd] = (first_ms, max(until_ms, longer_ms))
                return crowd
        crowd = f"{kind} {at_ms}"
        line.gather[crowd] = (at_ms, at_ms + wait_ms)
        return crowd

    def _is_flooded(self, line: Line, at_ms: int) -> bool:
        """Count one raise; whether there were `flood` before it within the window."""
        last = line.rang_ms
        flooded = len(last) == self._settings.flood and last[0] > at_ms - self._settings.window_ms
        line.rang_ms = [*last, at_ms][-self._settings.flood :]
        return flooded

    def _crowd(self, number: int, about: About) -> str:
        if about not in RAISING:
            return about.value
        high = self._ledger.alarms[number].alarm.priority is Priority.HIGH
        return "high" if high else "lesser"

    def next_ms(self, steady_ms: int) -> int | None:
        """The next steady moment at which something becomes ready; None when nothing waits."""
        moments = [w.ready_ms for line in self.lines() for w in line.waiting.values()]
        moments += [until for line in self.lines() for _, until in line.gather.values()]
        return min((ms for ms in moments if ms > steady_ms), default=None)

    def release(self, now_ms: int, steady_ms: int, hold_until_ms: int) -> list[Notice]:
        """The messages that are ready, as few as can be: one per way and reason.

        hold_until_ms: before that steady moment only high alarms are told.
        """
        notices: list[Notice] = []
        # behind a message that cannot be handed over more would only pile up, and fall on its
        # reader all at once; it gathers instead and follows as one. A high alarm waits only
        # for a high one, which is tried every few minutes
        failing = [sent for sent in self._ledger.sent.values() if sent.failing]
        blocked = {sent.line for sent in failing if sent.high}
        slow = {sent.line for sent in failing}
        for line in self.lines():
            if line.waiting and steady_ms >= line.idle_until_ms and line.name not in blocked:
                quiet = self.is_quiet(self.contacts[line.contact], now_ms)
                held = quiet or steady_ms < hold_until_ms or line.name in slow
                notices += self._release_tests(line, now_ms)
                notices += self._release_line(line, now_ms, steady_ms, held=held)
        return notices

    def is_quiet(self, contact: Contact, now_ms: int) -> bool:
        """Whether it is in the contact's quiet hours, by the room's wall clock."""
        start, end = contact.quiet_from_min, contact.quiet_to_min
        if start is None or end is None:
            return False
        minute = local_minute(now_ms, self.room.zone)
        return start <= minute < end if start <= end else minute >= start or minute < end

    def closings(self, line: Line) -> list[Alarm]:
        """What is over and `line` has not been told so yet."""
        return [self._alarm(w) for w in line.waiting.values() if w.about is About.RETURNED]

    def closed(self, line: Line, alarms: Iterable[Alarm]) -> None:
        """`line` has been told that these are over."""
        for alarm in alarms:
            line.drop(alarm.number, About.RETURNED)
            line.told.pop(alarm.number, None)

    def note(
        self, line: Line, about: About, text: tuple[str, str], priority: Priority, now_ms: int,
        over: Sequence[Alarm] = (),
    ) -> Notice:  # fmt: skip
        """A message that is about no single alarm: all is well, digest, test.

        over: the alarms it closes.
        """
        notice = self._notice(line, about, over, text, priority, now_ms)
        self._on_its_way(line, notice)
        return notice

    def _on_its_way(self, line: Line, notice: Notice) -> None:
        # nobody tries for so long; without this a lost receipt would be waited for for ever
        since_ms = notice.made_ms - 2 * DAY_MS
        sent = {name: s for name, s in self._ledger.sent.items() if s.made_ms > since_ms}
        sent[notice.id] = Sent(
            line=line.name,
            numbers=list(notice.alarms),
            made_ms=notice.made_ms,
            raising=notice.about in RAISING,
            high=notice.priority is Priority.HIGH,
        )
        self._ledger.sent = sent

    # -- one line ---------------------------------------------------------------------------

    def _release_tests(self, line: Line, now_ms: int) -> list[Notice]:
        """A test goes at once and alone, and counts against no limit."""
        tests = [w for w in line.waiting.values() if w.about is About.TEST]
        for waiting in tests:
            del line.waiting[waiting.number]
        return [self._compose(line, [waiting], now_ms) for waiting in tests]

    def _release_line(self, line: Line, now_ms: int, steady_ms: int, *, held: bool) -> list[Notice]:
        line.idle_until_ms = min(map(line.ready_ms, line.waiting.values()), default=steady_ms)
        free = [w for w in line.waiting.values() if not held or self._is_high(w)]
        reasons = {_reason(w.about) for w in free if line.ready_ms(w) <= steady_ms}
        # whoever waits for the same reason rides along: one message fewer a few seconds later
        batch = [w for w in free if _reason(w.about) in reasons]
        room_left = self._room_left(line, batch, steady_ms)
        if not batch or room_left <= 0:
            return []
        groups = [[w for w in batch if _reason(w.about) is reason] for reason in _ORDER]
        # where there is no room for all, the most urgent go and the rest gather on
        groups = [group for group in groups if group][:room_left]
        for waiting in itertools.chain(*groups):
            del line.waiting[waiting.number]
        crowds = {w.crowd for w in line.waiting.values()}
        line.gather = {crowd: span for crowd, span in line.gather.items() if crowd in crowds}
        line.sent_ms += [steady_ms] * len(groups)
        return [self._compose(line, group, now_ms) for group in groups]

    def _room_left(self, line: Line, batch: Sequence[Waiting], steady_ms: int) -> int:
        since_ms = steady_ms - self._settings.window_ms
        line.sent_ms = [at_ms for at_ms in line.sent_ms if since_ms < at_ms <= steady_ms]
        urgent = any(w.about in RAISING and self._is_high(w) for w in batch)
        # the last place is kept: three closings must not hold back the alarm that follows them
        return self._settings.most - len(line.sent_ms) - (0 if urgent else 1)

    def _is_high(self, waiting: Waiting) -> bool:
        return self._alarm(waiting).priority is Priority.HIGH

    def _alarm(self, waiting: Waiting) -> Alarm:
        return self._ledger.alarms[waiting.number].alarm

    def _compose(self, line: Line, group: Sequence[Waiting], now_ms: int) -> Notice:
        group = sorted(group, key=lambda w: (self._alarm(w).priority.rank, w.queued_ms, w.number))
        items = [(self._alarm(waiting), waiting.about) for waiting in group]
        wording = Wording(self.room, now_ms)
        if len(items) == 1:
            text = (wording.title(*items[0]), wording.body(*items[0]))
        else:
            text = wording.many(items)
        for alarm, about in items:
            if about in RAISING:
                line.told[alarm.number] = alarm.episode
            elif about is About.RETURNED:
                line.told.pop(alarm.number, None)
        about = min((w.about for w in group), key=_ORDER.index)
        priority = min((alarm.priority for alarm, _ in items), key=lambda p: p.rank)
        notice = self._notice(line, about, [alarm for alarm, _ in items], text, priority, now_ms)
        self._on_its_way(line, notice)
        return notice

    def _notice(
        self,
        line: Line,
        about: About,
        alarms: Sequence[Alarm],
        text: tuple[str, str],
        priority: Priority,
        now_ms: int,
    ) -> Notice:
        line.ordinal += 1
        parts = [self.room.id, line.name, about.value, str(line.ordinal)]
        # nothing of the clock goes in: made again after a crash it must be the same identity
        parts += [f"{alarm.number}.{alarm.episode}" for alarm in alarms]
        title, body = text
        return Notice(
            id=hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32],
            contact=line.contact,
            way=line.way,
            about=about,
            priority=priority,
            alarms=tuple(alarm.number for alarm in alarms),
            title=title,
            body=body,
            made_ms=now_ms,
            due_ms=now_ms,
            link=self._link(line, about, alarms, now_ms),
        )

    def _link(self, line: Line, about: About, alarms: Sequence[Alarm], now_ms: int) -> str:
        if not self._settings.link:
            return ""
        if len(alarms) != 1 or about is About.DIGEST:
            return f"{self._settings.link}/alarms"
        (alarm,) = alarms
        if about not in RAISING or not self._settings.token_key:
            return f"{self._settings.link}/alarms/{alarm.number}"
        token = make_token(
            self._settings.token_key,
            alarm,
            by=line.contact,
            issued_ms=max(now_ms, alarm.changed_ms),
            lives_ms=self._settings.token_lives_ms,
        )
        return f"{self._settings.link}/acknowledge/{token}"


def _reason(about: About) -> About:
    """Raises, repeats and escalations share one message."""
    return About.RAISED if about in RAISING else about
