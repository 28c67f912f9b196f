"""A message: what a notice says, with place, quantity and direction first."""

from collections.abc import Sequence

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.notice import About
from roewatch.alarms.rationale import rationale_of, title_of
from roewatch.room.kind import Kind
from roewatch.room.local_time import local_clock
from roewatch.room.moment import span_text
from roewatch.room.quantity import KEPT, shown, window_with_unit
from roewatch.room.tank import ROOM, Room

LOCK_SCREEN = 40
"""Characters of a title a locked phone shows."""
MOST_LINES = 30
"""Alarms listed in one message; the page has the rest."""

_OUTSIDE = frozenset({Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW})


class Wording:
    """Writes messages for one room at one moment."""

    def __init__(self, room: Room, now_ms: int) -> None:
        self._room = room
        self._now_ms = now_ms
        self._racks = {tank.id: tank.place.rack for tank in room.tanks}
        self._stages = {tank.id: tank.stage for tank in room.tanks}

    def place(self, alarm: Alarm) -> str:
        """The tank's id, or the room's name."""
        return self._room.name if alarm.tank == ROOM else alarm.tank

    def title(self, alarm: Alarm, about: About) -> str:
        """One alarm in one line."""
        place, what = self.place(alarm), title_of(alarm.kind, alarm.quantity)
        if alarm.kind is Kind.TEST:
            return f"TEST {self._room.name}: nothing is wrong"
        if alarm.tank == ROOM:
            place = f"{place}:"
        if about is About.RETURNED:
            if alarm.kind in _OUTSIDE and alarm.quantity:
                return f"{place} {KEPT[alarm.quantity].name} back in window"
            return f"{place} over: {what}"
        if about is About.TAKEN_ON:
            return f"{place} {what}: {alarm.acknowledged_by} has it"
        if alarm.children and alarm.tank == ROOM:
            return f"{place} {what} ({len(alarm.children)} tanks)"
        return f"{place} {what}"

    def body(self, alarm: Alarm, about: About) -> str:
        """One alarm in full."""
        lines = [self._facts(alarm), alarm.message]
        if about is About.RETURNED:
            lines = [self._over(alarm), alarm.message]
            if alarm.latched:
                lines.append("Stays listed until you have looked at the young and reset it.")
        elif about is About.TAKEN_ON:
            lines.append(f"{alarm.acknowledged_by} has acknowledged it; nothing asked of you.")
        else:
            lines += [self._standing(alarm, about), self._forecast(alarm), *self._acts([alarm])]
        lines.append(f"No. {alarm.number}, {self._room.name}")
        return "\n".join(line for line in lines if line)

    def many(self, items: Sequence[tuple[Alarm, About]]) -> tuple[str, str]:
        """Title and body of several alarms in one message, by rack."""
        alarms = [alarm for alarm, _ in items]
        lines: list[str] = []
        for rack in dict.fromkeys(self._rack(alarm) for alarm in alarms):
            mine = [item for item in items if self._rack(item[0]) == rack]
            lines.append(f"{rack}:" if rack else "Room:")
            lines += [self._listed(alarm, about) for alarm, about in mine]
        left_out = len(lines) - MOST_LINES
        if left_out > 0:
            lines = [*lines[:MOST_LINES], f"and {left_out} more on the page"]
        raised = [alarm for alarm, about in items if about is not About.RETURNED]
        lines += [*self._acts(raised), self._room.name]
        return self._many_title(items), "\n".join(lines)

    def _many_title(self, items: Sequence[tuple[Alarm, About]]) -> str:
        places = list(dict.fromkeys(self.place(alarm) for alarm, _ in items))
        racks = {self._rack(alarm) for alarm, _ in items}
        if len(places) <= 3:
            where = ", ".join(places)
        elif len(racks) == 1 and "" not in racks:
            where = f"{racks.pop()}, {len(places)} tanks"
        else:
            where = f"{places[0]}, {places[1]} and {len(places) - 2} more"
        whats = {
            (title_of(alarm.kind, alarm.quantity), about is About.RETURNED)
            for alarm, about in items
        }
        if len(whats) > 1:
            over = sum(about is About.RETURNED for _, about in items)
            return f"{where}: {len(items)} alarms" + (f", {over} over" if over else "")
        what, over_now = whats.pop()
        return f"{where}: {'over: ' if over_now else ''}{what}"

    def _listed(self, alarm: Alarm, about: About) -> str:
        over = "over, " if about is About.RETURNED else ""
        what = title_of(alarm.kind, alarm.quantity)
        facts = self._facts(alarm)
        return f"{self.place(alarm)} {over}{what}, {facts}, no. {alarm.number}"

    def _facts(self, alarm: Alarm) -> str:
        parts = [_value(alarm)] if _value(alarm) else []
        if alarm.window:
            parts.append(f"window {_window(alarm)}")
        since = local_clock(alarm.since_ms, self._room.zone, self._now_ms)
        parts.append(f"since {since} {self._room.zone}")
        if alarm.children:
            parts.append(f"in {', '.join(alarm.children)}")
        return ", ".join(parts)

    def _over(self, alarm: Alarm) -> str:
        ended_ms = alarm.returned_ms or self._now_ms
        since, until = (
            local_clock(at_ms, self._room.zone, self._now_ms)
            for at_ms in (alarm.since_ms, ended_ms)
        )
        lasted = span_text(ended_ms - alarm.since_ms)
        value = f"{_value(alarm)}, " if _value(alarm) else ""
        return f"{value}it lasted {lasted}, {since} to {until} {self._room.zone}"

    def _standing(self, alarm: Alarm, about: About) -> str:
        ago = span_text(max(0, self._now_ms - alarm.raised_ms))
        if about is About.REMINDER:
            return f"Still so after {ago}, and nobody has acknowledged it."
        if about is About.ESCALATED:
            return f"You are asked because nobody has acknowledged it for {ago}."
        return ""

    def _forecast(self, alarm: Alarm) -> str:
        if alarm.forecast is None:
            return ""
        earliest, likely, latest = (
            None if at_ms is None else local_clock(at_ms, self._room.zone, self._now_ms)
            for at_ms in alarm.forecast
        )
        about = likely or earliest
        if about is None:
            return ""
        between = f" (between {earliest} and {latest})" if earliest and latest else ""
        return f"Leaves its window about {about}{between}."

    def _acts(self, alarms: Sequence[Alarm]) -> list[str]:
        lines: list[str] = []
        for alarm in alarms:
            rationale = rationale_of(alarm.kind, alarm.quantity)
            within_ms = rationale.respond_within_ms(self._stages.get(alarm.tank))
            # in a list of many the times differ from tank to tank, and only the act is the same
            timed = len(alarms) == 1 and within_ms is not None
            act = f"Do within {span_text(within_ms or 0)}" if timed else "Do"
            lines.append(f"{act}: {rationale.first_act}")
            if rationale.caution:
                lines.append(f"Care: {rationale.caution}")
        # six lines are read, sixty are not
        return list(dict.fromkeys(lines))[:6]

    def _rack(self, alarm: Alarm) -> str:
        rack = self._racks.get(alarm.tank, "")
        return f"Rack {rack}" if rack else ""


def _window(alarm: Alarm) -> str:
    return window_with_unit(alarm.quantity, alarm.window) if alarm.quantity else alarm.window


def _value(alarm: Alarm) -> str:
    if alarm.value is None or alarm.quantity is None:
        return ""
    return shown(alarm.quantity, alarm.value)
