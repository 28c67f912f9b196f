"""A sight: what a page sees of the room at one moment, read once and shared between pages."""

import threading
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.alarms.alarm import Alarm, State
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.tank import ROOM, Probe, Room, Tank
from roewatch.views.asked import NotHereError
from roewatch.views.ports import LinkView, Live, Records
from roewatch.views.standing import Mark, Measured, Standing, drift_per_hour, gravest_first

_DRIFT_KEPT_MS = 2 * MINUTE_MS
_DRIFTS_A_LOOK = 150
"""So many probes' directions are read for one page; the rest follow with the next pages."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """The room at one moment. alarms: every open one, the gravest first."""

    room: Room
    now_ms: int
    link: LinkView
    standings: tuple[Standing, ...]
    alarms: tuple[Alarm, ...]

    def of(self, tank_id: str) -> Standing:
        """How one tank stands. Raises NotHereError for a tank that is not in the room."""
        for standing in self.standings:
            if standing.tank.id == tank_id:
                return standing
        raise NotHereError(f"This room has no tank {tank_id!r}.")

    @property
    def room_alarms(self) -> tuple[Alarm, ...]:
        """The open alarms about the whole room."""
        return tuple(alarm for alarm in self.alarms if alarm.tank == ROOM)

    @property
    def silent_probes(self) -> int:
        """How many probes have gone silent."""
        return sum(m.silent for standing in self.standings for m in standing.measured)

    @property
    def last_reading_ms(self) -> int | None:
        """When the newest reading was taken."""
        times = [m.latest.at_ms for s in self.standings for m in s.measured if m.latest]
        return max(times, default=None)

    @property
    def unacknowledged(self) -> tuple[Alarm, ...]:
        """The alarms nobody has seen yet."""
        return tuple(a for a in self.alarms if a.state is State.UNACKNOWLEDGED)

    @property
    def open(self) -> tuple[Alarm, ...]:
        """The alarms that hold, seen or not, shelved ones apart."""
        seen = {State.UNACKNOWLEDGED, State.ACKNOWLEDGED}
        return tuple(a for a in self.alarms if a.state in seen)

    @property
    def returned(self) -> tuple[Alarm, ...]:
        """The alarms that are over and that nobody has seen."""
        return tuple(a for a in self.alarms if a.state is State.RETURNED)

    @property
    def out_of_service(self) -> tuple[Alarm, ...]:
        """Alarms switched off without an end; they show everywhere so that nobody forgets."""
        return tuple(a for a in self.alarms if a.state is State.OUT_OF_SERVICE)

    @property
    def worst(self) -> Mark:
        """The worst state anywhere in the room."""
        marks = [standing.mark for standing in self.standings]
        if any(a.present and a.state is not State.SHELVED for a in self.room_alarms):
            marks.append(Mark.OUTSIDE)
        return min(marks, key=lambda mark: mark.rank, default=Mark.BLANK)


class Lookout:
    """Looks at the room for the pages, and remembers what is dear to look up."""

    def __init__(self, records: Records, live: Live) -> None:
        self._records = records
        self._live = live
        self._lock = threading.Lock()
        self._drifts: dict[str, tuple[int, float | None]] = {}

    def look(self) -> Sight:
        """The room now."""
        room, now_ms = self._live.room(), self._live.now_ms()
        latest = self._records.latest()
        alarms = gravest_first(self._records.alarms(open_only=True))
        by_tank: dict[str, list[Alarm]] = defaultdict(list)
        for alarm in alarms:
            by_tank[alarm.tank].append(alarm)
        probes: dict[str, list[Probe]] = defaultdict(list)
        for probe in room.probes:
            probes[probe.tank].append(probe)
        drifts = self._drifts_now(room.probes, now_ms)

        def measured(tank: Tank) -> tuple[Measured, ...]:
            return tuple(
                Measured(
                    probe=probe,
                    latest=latest.get(probe.id),
                    window=tank.windows.get(probe.quantity),
                    per_hour=drifts.get(probe.id),
                    now_ms=now_ms,
                )
                for probe in probes[tank.id]
            )

        standings = tuple(
            Standing(
                tank=tank,
                measured=measured(tank),
                alarms=tuple(by_tank[tank.id]),
                now_ms=now_ms,
            )
            for tank in room.tanks
        )
        return Sight(
            room=room, now_ms=now_ms, link=self._live.link(), standings=standings, alarms=alarms
        )

    def _drifts_now(self, probes: Sequence[Probe], now_ms: int) -> dict[str, float | None]:
        """Directions, the oldest looked up again first, so many a look."""
        with self._lock:
            known = dict(self._drifts)
        old = [p for p in probes if p.id not in known or now_ms - known[p.id][0] > _DRIFT_KEPT_MS]
        old.sort(key=lambda p: known[p.id][0] if p.id in known else 0)
        for probe in old[:_DRIFTS_A_LOOK]:
            series = self._records.series(probe, now_ms - HOUR_MS, now_ms + 1, 30)
            known[probe.id] = (now_ms, drift_per_hour(series))
        with self._lock:
            self._drifts = known
        return {name: drift for name, (_, drift) in known.items()}
