"""A back-off: how long to wait before the store is tried again, longer each time, to a bound."""

import time
from collections.abc import Callable
from dataclasses import dataclass

FIRST_S, LONGEST_S = 0.5, 30.0


@dataclass(slots=True)
class Backoff:
    """Doubles from `first_s` to `longest_s`. `trouble`: what is wrong; empty when nothing is."""

    first_s: float = FIRST_S
    longest_s: float = LONGEST_S
    monotonic: Callable[[], float] = time.monotonic
    failures: int = 0
    trouble: str = ""
    _until_s: float = 0.0

    def failed(self, why: str) -> float:
        """One more failure; returns the wait, in seconds."""
        self.trouble = why
        wait_s = min(self.longest_s, self.first_s * (1 << min(self.failures, 16)))
        self.failures += 1
        self._until_s = self.monotonic() + wait_s
        return wait_s

    @property
    def due(self) -> bool:
        """Whether it is time to try again."""
        return self.monotonic() >= self._until_s

    def over(self) -> None:
        """It works again."""
        self.failures, self.trouble = 0, ""
