"""A backlog: readings the broker kept while the daemon was away, arriving long after their time.

While one drains, the clock must not be held against the probes: their newest readings are still
in the queue, and judging silence by the clock would raise an alarm for every tank.
"""

from dataclasses import dataclass

from roewatch.room.moment import MINUTE_MS, SECOND_MS

LATE_MS = 2 * MINUTE_MS
"""A reading this much older than its arrival comes from a backlog."""
QUIET_MS = 10 * SECOND_MS
"""So long without a late reading, and the backlog is over."""
LONGEST_MS = 10 * MINUTE_MS
"""A backlog that lasts longer is no backlog but a probe with a wrong clock: go on regardless."""


@dataclass(slots=True)
class Backlog:
    """Whether late readings are still draining. Fed with every batch; asked before every tick."""

    began_ms: int | None = None
    last_late_ms: int = 0

    def saw(self, oldest_event_ms: int, arrival_ms: int) -> None:
        """A batch came whose oldest reading was true at `oldest_event_ms`."""
        if arrival_ms - oldest_event_ms <= LATE_MS:
            return
        if self.began_ms is None:
            self.began_ms = arrival_ms
        self.last_late_ms = arrival_ms

    def connected(self, at_ms: int) -> None:
        """The link has just come up: whatever the broker queued is about to arrive."""
        if self.began_ms is None:
            self.began_ms = at_ms
        self.last_late_ms = at_ms

    def draining(self, now_ms: int) -> bool:
        """True while ticks should wait. Bounded: never longer than `LONGEST_MS` at a stretch."""
        if self.began_ms is None:
            return False
        if now_ms - self.last_late_ms >= QUIET_MS:
            self.began_ms = None
            return False
        return now_ms - self.began_ms < LONGEST_MS
