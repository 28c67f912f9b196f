"""Patience: how long something has lasted when the wall clock may be put right meanwhile.

Small boards often boot with a wrong clock and are corrected by hours. A correction is not time
that passed: it must neither send reminders early nor hold them back.
"""

from roewatch.room.moment import HOUR_MS, MINUTE_MS

STEP_FORWARD_MS = HOUR_MS
"""Two looks at the clock further apart than this, within one run, are a corrected clock."""
STEP_BACK_MS = MINUTE_MS


class Patience:
    """Turns wall-clock moments into a steady count that corrections of the clock do not move."""

    def __init__(self, offset_ms: int = 0) -> None:
        """offset_ms: the corrections so far, as kept; a restart is not taken for a correction."""
        self.offset_ms = offset_ms
        self._last_ms: int | None = None

    def steady_ms(self, now_ms: int) -> int:
        """The steady count at `now_ms`; call it at every look at the clock, in order."""
        if self._last_ms is not None:
            passed_ms = now_ms - self._last_ms
            if passed_ms > STEP_FORWARD_MS or passed_ms < -STEP_BACK_MS:
                self.offset_ms += passed_ms
        self._last_ms = now_ms
        return now_ms - self.offset_ms


class Waits:
    """How long ago a wall-clock moment was, corrections forward left out. Kept in memory only."""

    def __init__(self) -> None:
        self._last_ms: int | None = None
        self._steps: list[tuple[int, int]] = []

    def look(self, now_ms: int) -> None:
        """Look at the clock; call it in order, more often than `STEP_FORWARD_MS`."""
        if self._last_ms is not None and now_ms - self._last_ms > STEP_FORWARD_MS:
            self._steps = [*self._steps[-9:], (self._last_ms, now_ms - self._last_ms)]
        self._last_ms = now_ms

    def since(self, from_ms: int, now_ms: int) -> int:
        """Milliseconds that truly passed from `from_ms` to `now_ms`; never below zero."""
        skipped = sum(step for before_ms, step in self._steps if from_ms <= before_ms)
        return max(0, now_ms - from_ms - skipped)
