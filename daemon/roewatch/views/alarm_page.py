"""The alarm page: every open alarm by its state, what it asks, who was told, what is over."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.notice import Notice, Outcome
from roewatch.alarms.performance import chatter_text
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, moment_of
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM
from roewatch.views.asked import AskedWrongError
from roewatch.views.axis import instants
from roewatch.views.pages import Desk
from roewatch.views.performance_page import performance_among
from roewatch.views.sight import Sight
from roewatch.views.standing import Mark, alarm_words
from roewatch.views.wording import whole_span

ASKS = {
    Priority.HIGH: "high: wake",
    Priority.MEDIUM: "medium: today",
    Priority.LOW: "low: note",
    Priority.JOURNAL: "journal",
}
OUTCOMES = {
    Outcome.TAKEN: "taken",
    Outcome.TRY_LATER: "failed",
    Outcome.REFUSED: "refused",
    Outcome.GIVEN_UP: "given up",
}
NEXT = {Outcome.TRY_LATER: ", will be tried again"}
"""What follows on an outcome, if anything."""

SHELF_CHOICES = (("1h", "1 h"), ("4h", "4 h"), ("tomorrow", "until tomorrow 08:00"))
OWN_TIME = "own"
MOST_SHELF_MS = 24 * HOUR_MS
_SHOWN_PAST_MS = 30 * DAY_MS
_MOST_RECENT = 500

_STATES = (
    (State.UNACKNOWLEDGED, "Unacknowledged"),
    (State.RETURNED, "Returned to normal, unacknowledged"),
    (State.ACKNOWLEDGED, "Acknowledged"),
    (State.SHELVED, "Shelved"),
    (State.SUPPRESSED, "Suppressed by design"),
    (State.OUT_OF_SERVICE, "Out of service"),
)
SEEN = "seen"
_MARKS = {
    State.SHELVED: Mark.SHELVED,
    State.SUPPRESSED: Mark.BLANK,
    State.OUT_OF_SERVICE: Mark.OUT_OF_SERVICE,
}


_LEAST_ALIKE = 3
"""So many alarms of one kind stand under one heading, what to do first said once."""

_ROWS_OPEN, _CLUSTERS_OPEN = 3, 3
"""What is past these is folded: a flood must not hide its own most urgent line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """Alarms of one kind in one state; the most urgent first."""

    alarms: tuple[Alarm, ...]

    @property
    def alike(self) -> bool:
        """Whether they share a heading."""
        return len(self.alarms) > 1

    @property
    def shown(self) -> tuple[Alarm, ...]:
        """Those that stand open under the heading."""
        return self.alarms[:_ROWS_OPEN]

    @property
    def folded(self) -> tuple[Alarm, ...]:
        """Those that one tap unfolds."""
        return self.alarms[_ROWS_OPEN:]

    @property
    def words(self) -> str:
        """`heater weak, hardly holding: A6, A5`, for the line that unfolds it."""
        tanks = ", ".join(alarm.tank for alarm in self.alarms)
        return f"{alarm_words(self.alarms[0])}: {tanks}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The open alarms in one state, those of one kind together."""

    title: str
    alarms: tuple[Alarm, ...]

    @property
    def clusters(self) -> tuple[Cluster, ...]:
        """By kind, in the order of each kind's most urgent alarm; two of a kind stay apart."""
        kinds: dict[object, list[Alarm]] = {}
        for alarm in self.alarms:
            like = (alarm.kind, alarm.quantity, alarm.priority, alarm.present)
            kinds.setdefault(like, []).append(alarm)
        found: list[Cluster] = []
        for alike in kinds.values():
            if len(alike) >= _LEAST_ALIKE:
                found.append(Cluster(alarms=tuple(alike)))
            else:
                found += [Cluster(alarms=(alarm,)) for alarm in alike]
        places = {alarm.number: place for place, alarm in enumerate(self.alarms)}
        return tuple(sorted(found, key=lambda cluster: places[cluster.alarms[0].number]))

    @property
    def first(self) -> tuple[Cluster, ...]:
        """What stands open: whatever may wake somebody, and so many of the others."""
        clusters = self.clusters
        return tuple(
            cluster
            for place, cluster in enumerate(clusters)
            if place < _CLUSTERS_OPEN or cluster.alarms[0].priority is Priority.HIGH
        )

    @property
    def rest(self) -> tuple[Cluster, ...]:
        """What one tap unfolds."""
        open_ = self.first
        return tuple(cluster for cluster in self.clusters if cluster not in open_)


def alarm_mark(alarm: Alarm) -> str:
    """The shape an alarm is marked with; once somebody has seen it, hollow."""
    by_state = _MARKS.get(alarm.state)
    if by_state:
        return by_state
    if alarm.present and alarm.state is State.ACKNOWLEDGED:
        return SEEN
    return Mark.OUTSIDE if alarm.present else Mark.RETURNED


def state_words(alarm: Alarm) -> str:
    """An alarm's state as people read it."""
    return dict(_STATES).get(alarm.state, alarm.state.value).lower()


def groups_of(alarms: Sequence[Alarm]) -> list[Group]:
    """Open alarms by state, the states in the order they ask for somebody."""
    groups = []
    for state, title in _STATES:
        here = tuple(alarm for alarm in alarms if alarm.state is state)
        if here:
            groups.append(Group(title=title, alarms=here))
    return groups


def headline(sight: Sight) -> str:
    """`3 open, 1 over and not seen, 1 shelved`."""
    shelved = sum(alarm.state is State.SHELVED for alarm in sight.alarms)
    parts = [f"{len(sight.open)} open"]
    parts += [f"{len(sight.returned)} over and not seen"] if sight.returned else []
    parts += [f"{shelved} shelved"] if shelved else []
    return ", ".join(parts)


def way_words(notice: Notice) -> str:
    """`Keeper, phone`: a person, and the way they were told by."""
    return f"{notice.contact}, {notice.way.removeprefix(f'{notice.contact}/')}"


def lasted(alarm: Alarm) -> str:
    """How long an alarm held."""
    return whole_span(alarm.returned_ms - alarm.since_ms) if alarm.returned_ms else "–"


def shelf_end_ms(choice: str, own: str, now_ms: int, zone: str) -> int:
    """When a shelf of that choice ends; own: a time of day, the next of which is meant.

    Raises AskedWrongError for a choice that is not offered.
    """
    if choice == OWN_TIME:
        return _next_ms(own, now_ms, ZoneInfo(zone))
    if choice == "tomorrow":
        where = ZoneInfo(zone)
        day = moment_of(now_ms).astimezone(where).date() + timedelta(days=1)
        wall = datetime(day.year, day.month, day.day, 8)  # noqa: DTZ001 a wall clock
        end_ms = instants(wall, where)[0][0]
        # the evening before a long night: never more than a day
        return min(end_ms, now_ms + MOST_SHELF_MS)
    hours = {"1h": 1, "4h": 4}.get(choice)
    if hours is None:
        raise AskedWrongError(
            "Choose how long the alarm is to be shelved: 1 h, 4 h, until tomorrow or until a time."
        )
    return now_ms + hours * HOUR_MS


def _next_ms(clock: str, now_ms: int, zone: ZoneInfo) -> int:
    """The next moment at which the room's clock shows that time."""
    try:
        named = time.fromisoformat(clock)
    except ValueError as fault:
        raise AskedWrongError(
            f"Until: {clock[:20]!r} is no time of day; write it like 18:00."
        ) from fault
    today = moment_of(now_ms).astimezone(zone).date()
    for day in (today, today + timedelta(days=1)):
        end_ms = instants(datetime.combine(day, named.replace(tzinfo=None)), zone)[0][0]
        if end_ms > now_ms:
            return min(end_ms, now_ms + MOST_SHELF_MS)
    raise AskedWrongError("Until: that time has just passed; choose a later one.")


def chatter(desk: Desk, alarms: Sequence[Alarm], now_ms: int, zone: str) -> dict[str, str]:
    """The alarms that ring again and again, by key, each with what to do about it."""
    recent = desk.records.alarms(from_ms=now_ms - DAY_MS, limit=_MOST_RECENT)
    keys = {alarm.key for alarm in alarms}
    among = [alarm for alarm in recent if alarm.key in keys]
    found = performance_among(desk.records, among, now_ms - DAY_MS, now_ms + 1, zone)
    return {one.key: chatter_text(one) for one in found.chattering}


def alarms_page(desk: Desk, request: Request) -> Response:
    """The page of all alarms."""
    sight = desk.lookout.look()
    stages = {standing.tank.id: standing.stage for standing in sight.standings}
    recent = desk.records.alarms(from_ms=sight.now_ms - _SHOWN_PAST_MS, limit=200)
    told = {alarm.number: desk.records.told(alarm.number) for alarm in sight.alarms}

    def stage_of(alarm: Alarm) -> Stage | None:
        return None if alarm.tank == ROOM else stages.get(alarm.tank)

    return desk.page(
        request,
        "alarms.html",
        sight,
        groups=groups_of(sight.alarms),
        headline=headline(sight),
        past=[
            alarm
            for alarm in recent
            if alarm.state is State.NORMAL and alarm.priority is not Priority.JOURNAL
        ][:50],
        refused=desk.live.refused(),
        told_of=lambda alarm: told[alarm.number],
        stage_of=stage_of,
        alarm_mark=alarm_mark,
        asks=ASKS,
        outcomes=OUTCOMES,
        what_next=NEXT,
        shelf_choices=SHELF_CHOICES,
        chatters=chatter(desk, sight.alarms, sight.now_ms, sight.room.zone),
        lasted=lasted,
        way_words=way_words,
    )
