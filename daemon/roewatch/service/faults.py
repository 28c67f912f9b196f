"""Faults: bugs of our own that showed while the room was watched, and did not stop it."""

import logging
import traceback
from collections import Counter
from collections.abc import Callable
from typing import TypeVar

from roewatch.room.moment import HOUR_MS

log = logging.getLogger(__name__)

QUIET_MS = HOUR_MS
"""So long without a fault, and its alarm is over."""
_MOST_KINDS = 100

Answer = TypeVar("Answer")


class Faults:
    """Logs each kind of fault once with its traceback, then counts. For the watch loop only."""

    def __init__(self) -> None:
        self.counted: Counter[str] = Counter()
        self.last_ms: int | None = None
        self.last = ""

    def note(self, doing: str, error: Exception, now_ms: int) -> None:
        """`error` came up while `doing`; called from where it is caught."""
        kind = _kind(doing, error)
        if kind not in self.counted and len(self.counted) >= _MOST_KINDS:
            kind = "others"
        self.counted[kind] += 1
        self.last_ms, self.last = now_ms, kind
        times = self.counted[kind]
        if times == 1:
            log.error("our_fault kind=%r", kind, exc_info=error)
        elif times & (times - 1) == 0:  # at 2, 4, 8 … times, so that a flood stays short
            log.error("our_fault_again kind=%r times=%d", kind, times)

    def guarded(self, doing: str, do: Callable[[], Answer], now_ms: int) -> Answer | None:
        """What `do` answers; None where a bug of ours kept it from it, which is noted."""
        try:
            return do()
        except Exception as error:  # noqa: BLE001  # noted, logged and, by `standing`, alarmed
            self.note(doing, error, now_ms)
            return None

    def standing(self, now_ms: int) -> bool:
        """Whether there was one within the last hour."""
        return self.last_ms is not None and abs(now_ms - self.last_ms) < QUIET_MS

    def began_with_one(self, now_ms: int) -> None:
        """The last run had one: the quiet hour is counted from now."""
        if self.last_ms is None:
            self.last_ms = now_ms


def _kind(doing: str, error: Exception) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    where = f"{frames[-1].filename.rpartition('/')[2]}:{frames[-1].lineno}" if frames else "?"
    return f"{doing}: {type(error).__name__} at {where}"
