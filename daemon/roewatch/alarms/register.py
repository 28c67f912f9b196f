"""The register: which alarms are open, found by number, by key and by tank."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.suppression import STANDS_FOR, stands_for
from roewatch.room.tank import ROOM


class Register:
    """Open alarms. An alarm put in state normal leaves it."""

    def __init__(self, alarms: Iterable[Alarm] = ()) -> None:
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
        self._alarms[alarm.number] = alarm
        self._number_of[alarm.key] = alarm.number
        self._of_tank.setdefault(alarm.tank, {})[alarm.number] = None

    def parent_of(self, child: Alarm) -> Alarm | None:
        """The open alarm that speaks for `child`, if there is one."""
        for tank in dict.fromkeys((ROOM, child.tank)):
            for number in self._of_tank.get(tank, ()):
                parent = self._alarms[number]
                if parent.kind in STANDS_FOR and stands_for(parent, child):
                    return parent
        return None

    def near(self, parent: Alarm) -> list[Alarm]:
        """The open alarms `parent` might speak for: its own tank's, or all for the room."""
        if parent.tank == ROOM:
            return list(self)
        return [self._alarms[number] for number in self._of_tank.get(parent.tank, ())]

    def named_parent(self, child: Alarm) -> Alarm:
        """`child` with the key of the alarm that speaks for it, and no release set."""
        parent = self.parent_of(child)
        return replace(child, suppressed_by=parent.key if parent else "", release_ms=None)
