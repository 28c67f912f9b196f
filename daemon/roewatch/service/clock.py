"""The clock: the only place that asks what time it is."""

import time
from typing import Protocol


class Clock(Protocol):
    """What time it is, and how fast it runs."""

    speed: float

    def now_ms(self) -> int:
        """Milliseconds since the epoch, UTC."""


class WallClock:
    """The machine's own clock."""

    speed = 1.0

    def now_ms(self) -> int:
        """Milliseconds since the epoch, UTC."""
        return time.time_ns() // 1_000_000


class FastClock:
    """Simulated time: from `start_ms` on, `speed` times as fast as the monotonic clock."""

    def __init__(self, start_ms: int, speed: float) -> None:
        if speed <= 0:
            raise ValueError(
                f"speed {speed:g} would stop or reverse time; give a number above zero"
            )
        self.speed = speed
        self._start_ms = start_ms
        self._began_s = time.monotonic()

    def now_ms(self) -> int:
        """Milliseconds since the epoch of the simulated moment."""
        return self._start_ms + int((time.monotonic() - self._began_s) * 1000 * self.speed)
