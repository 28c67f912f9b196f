"""The daily message: proof that the path works, and what is worth a look but not a call."""

from collections.abc import Iterable, Sequence

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.message import Wording
from roewatch.alarms.notice import About
from roewatch.alarms.rationale import rationale_of, title_of
from roewatch.room.kind import Priority
from roewatch.room.local_time import local_clock, local_date, local_minute
from roewatch.room.tank import Room


class Daily:
    """Decides when a daily message is due. `days` remembers, by name, the date it last went."""

    def __init__(self, room: Room, days: dict[str, str]) -> None:
        self._room = room
        self._days = days

    def is_due(self, name: str, at_min: int | None, now_ms: int) -> bool:
        """Whether the message `name`, meant for that minute of the room's day, is due now.

        Said once a day: an hour that comes twice, or a clock put back, does not repeat it; after
        a stop it is late rather than lost; a room first started past the hour waits for tomorrow.
        """
        if at_min is None:
            return False
        today = local_date(now_ms, self._room.zone).isoformat()
        past = local_minute(now_ms, self._room.zone) >= at_min
        last = self._days.get(name)
        if last is None:
            self._days[name] = today if past else ""
            return False
        if not past or today <= last:
            return False
        self._days[name] = today
        return True


def daily_text(
    room: Room, open_alarms: Sequence[Alarm], over: Sequence[Alarm], notes: Iterable[Alarm],
    now_ms: int,
) -> tuple[About, str, str]:  # fmt: skip
    """(about, title, body) of the daily message: what is open, what is over, and the low ones.

    over, notes: those that ended, and those of low priority, since last time.
    """
    standing = [a for a in open_alarms if a.priority.rank <= Priority.MEDIUM.rank]
    seen = {alarm.number for alarm in (*standing, *over)}
    low = [alarm for alarm in notes if alarm.number not in seen]
    if not standing and not over and not low:
        tanks = f"{len(room.tanks)} tanks" if len(room.tanks) != 1 else "1 tank"
        title = f"{room.name}: all is well"
        return About.WELL, title, f"{tanks} watched, no alarm open. Next word tomorrow."
    lines = [_line(room, alarm, now_ms) for alarm in (*standing, *over, *low)]
    ended = f"{len(over)} over, " if over else ""
    title = f"{room.name}: {len(standing)} open, {ended}{len(low)} to look at"
    return About.DIGEST, title, "\n".join(lines)


def _line(room: Room, alarm: Alarm, now_ms: int) -> str:
    wording = Wording(room, now_ms)
    since = local_clock(alarm.since_ms, room.zone, now_ms)
    what = f"{wording.place(alarm)} {title_of(alarm.kind, alarm.quantity)}, since {since}"
    if not alarm.present:
        return f"{what}, over (no. {alarm.number})"
    state = f", {alarm.state.value}" if alarm.state is not State.UNACKNOWLEDGED else ""
    act = rationale_of(alarm.kind, alarm.quantity).first_act
    return f"{what}{state} (no. {alarm.number}). {act}"
