"""The register: which alarms are open, found by number, by key and by tank."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.suppression import LONGEST_SETTLE_MS, STANDS_FOR, settles_ms, stands_for
from roewatch.room.tank import ROOM


class Register:
    """Open alarms. An alarm put in state normal leaves it."""

    def __init__(self, alarms: Iterable[Alarm] = (), *, settle_ms: int = 0) -> None:
        """settle_ms: how long an alarm that is over still speaks for others, until a restart."""
        self._settle_ms = settle_ms
        self._ended: dict[str, tuple[Alarm, int]] = {}
        self._alarms: dict[int, Alarm] = {}
        self._number_of: dict[str, int] = {}
        # by tank, because at 2,500 tanks a look through all of them for each raise is too slow
        self._of_tank: dict[str, dict[int, None]] = {}
        for alarm in alarms:
            self.put(alarm)

    def __iter__(self) -> Iterator[Alarm]:
        """Every open alarm as it is when its turn comes, even if the register changes meanwhile."""
        for number in sorted(self._alarms):
            alarm = self._alarms.get(number)
            if alarm is not None:
                yield alarm

    def of_key(self, key: str) -> Alarm | None:
        """The open alarm of that key."""
        number = self._number_of.get(key)
        return None if number is None else self._alarms[number]

    def of_number(self, number: int) -> Alarm | None:
        """The open alarm of that number."""
        return self._alarms.get(number)

    def put(self, alarm: Alarm) -> None:
        """Keep `alarm` as it now is; normal means it is no longer open."""
        if alarm.state is State.NORMAL:
            self._alarms.pop(alarm.number, None)
            self._number_of.pop(alarm.key, None)
            self._of_tank.get(alarm.tank, {}).pop(alarm.number, None)
            return
        if alarm.present:
            self._ended.pop(alarm.key, None)  # it is back, and speaks for itself
        self._alarms[alarm.number] = alarm
        self._number_of[alarm.key] = alarm.number
        self._of_tank.setdefault(alarm.tank, {})[alarm.number] = None

    def parent_of(self, child: Alarm, at_ms: int) -> Alarm | None:
        """The alarm that speaks for `child` at that moment, if there is one."""
        for tank in dict.fromkeys((ROOM, child.tank)):
            for number in self._of_tank.get(tank, ()):
                parent = self._alarms[number]
                if parent.kind in STANDS_FOR and stands_for(parent, child):
                    return parent
        for parent, ended_ms in self._ended.values():
            if at_ms < ended_ms + self.settles_ms(child) and stands_for(parent, child):
                return parent
        return None

    def ended(self, parent: Alarm, at_ms: int) -> None:
        """`parent` is over; what it brought about may come to light a little later."""
        since_ms = at_ms - max(self._settle_ms, LONGEST_SETTLE_MS)
        self._ended = {k: kept for k, kept in self._ended.items() if kept[1] > since_ms}
        self._ended[parent.key] = (replace(parent, present=True), at_ms)

    def settles_ms(self, child: Alarm) -> int:
        """How long `child` stays quiet after the end of what spoke for it."""
        return settles_ms(child.kind, self._settle_ms)

    def near(self, parent: Alarm) -> list[Alarm]:
        """The open alarms `parent` might speak for: its own tank's, or all for the room."""
        if parent.tank == ROOM:
            return list(self)
        return [self._alarms[number] for number in self._of_tank.get(parent.tank, ())]

    def named_parent(self, child: Alarm, at_ms: int) -> Alarm:
        """`child` with the key of the alarm that speaks for it, and its release if that is over."""
        parent = self.parent_of(child, at_ms)
        if parent is None:
            return replace(child, suppressed_by="", release_ms=None)
        over = (
            parent.key not in self._number_of
            or not self._alarms[self._number_of[parent.key]].present
        )
        release_ms = self._ended[parent.key][1] + self.settles_ms(child) if over else None
        return replace(child, suppressed_by=parent.key, release_ms=release_ms)
