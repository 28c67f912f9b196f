"""Clock sense: whether the machine's clock can be believed, and when it was put right.

A small board without a battery starts in 1970 or at its last shutdown, and is put right by hours
once the network is there. Neither is time that passed: nobody may count as silent for it.
"""

import logging
import time
from collections.abc import Callable
from enum import Enum

from roewatch.room.moment import DAY_MS, MINUTE_MS, SECOND_MS, at_ms_of_iso, iso, span_text

log = logging.getLogger(__name__)

EARLIEST_MS = at_ms_of_iso("2024-01-01T00:00:00Z")
"""No clock that is right shows less: this program is younger."""
BEHIND_MS = 10 * MINUTE_MS
"""So far behind the newest reading kept the clock may be: a probe's own clock may run ahead."""
PATIENCE_S = 10 * MINUTE_MS / 1000
"""So long a clock that woke before the newest reading is waited for, real time.

Not for ever: the clock may have been ahead once, and what is then the newest reading lies in a
future that is months away. 1970 is waited out however long it takes, for nothing is like it.
"""
AWAY_MS = 31 * DAY_MS
"""So long the room may have been dark: of a clock known to be behind, readings may be so much
newer than the newest kept. It bounds what a probe whose own clock is ahead can put into the store.
"""
STEP_MS = 30 * SECOND_MS
"""What the clock may gain or lose between two looks before that is a step."""


class Step(Enum):
    """What the clock did since the last look."""

    NONE = "none"
    FORWARD = "forward"
    BACK = "back"


class ClockSense:
    """Looked through at every round of the watch. newest_ms: the newest reading kept before."""

    def __init__(
        self,
        newest_ms: int = 0,
        *,
        speed: float = 1.0,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._newest_ms = newest_ms
        self._speed = speed
        self._monotonic = monotonic
        self._last: tuple[int, float] | None = None
        self._doubted = False
        self._trusted = False  # once in this life; after that a clock is set back on purpose
        self._behind_since_s: float | None = None
        self._waits = False

    def look(self, now_ms: int) -> Step:
        """Compare the clock with the time that truly passed since the last look."""
        ticking_s = self._monotonic()
        last, self._last = self._last, (now_ms, ticking_s)
        if last is None:
            return Step.NONE
        gained_ms = now_ms - last[0] - int((ticking_s - last[1]) * 1000 * self._speed)
        if abs(gained_ms) < STEP_MS * self._speed:
            return Step.NONE
        word = "ahead" if gained_ms > 0 else "back"
        log.warning("clock_set_%s by=%r now=%s", word, span_text(gained_ms), iso(now_ms))
        return Step.FORWARD if gained_ms > 0 else Step.BACK

    def saw(self, newest_ms: int) -> None:
        """A reading of that moment was kept."""
        self._newest_ms = max(self._newest_ms, newest_ms)

    def believable(self, now_ms: int) -> bool:
        """Whether silence may be judged by the clock. One log line for each change."""
        doubted = now_ms < EARLIEST_MS or self._behind(now_ms)
        if doubted and not self._doubted:
            log.warning(
                "clock_not_believed now=%s newest_reading=%s; nobody counts as silent meanwhile",
                iso(now_ms),
                iso(self._newest_ms),
            )
        elif self._doubted and not doubted:
            log.info("clock_believed_again now=%s", iso(now_ms))
        self._doubted = doubted
        return not doubted

    def waits(self, now_ms: int) -> bool:
        """Whether messages had better stay at the broker, for nobody can say when they came.

        One log line for each change.
        """
        waits = now_ms < EARLIEST_MS or self._woke_behind(now_ms)
        if waits and not self._waits:
            log.warning(
                "clock_waited_for now=%s newest_reading=%s; readings wait at the broker",
                iso(now_ms),
                iso(self._newest_ms),
            )
        elif self._waits and not waits:
            in_vain = self._behind(now_ms)
            log.log(
                logging.WARNING if in_vain else logging.INFO,
                "clock_waited_for_%s now=%s",
                "in_vain" if in_vain else "no_more",
                iso(now_ms),
            )
        self._waits = waits
        return waits

    def latest_ms(self, now_ms: int) -> int | None:
        """The latest that it may truly be, of a clock that is behind; None of one that is not."""
        return self._newest_ms + AWAY_MS if self._behind(now_ms) else None

    def _behind(self, now_ms: int) -> bool:
        return now_ms < self._newest_ms - BEHIND_MS

    def _woke_behind(self, now_ms: int) -> bool:
        if self._trusted or not self._behind(now_ms):
            self._trusted = self._trusted or now_ms >= EARLIEST_MS
            return False
        now_s = self._monotonic()
        if self._behind_since_s is None:
            self._behind_since_s = now_s
        return now_s - self._behind_since_s < PATIENCE_S
