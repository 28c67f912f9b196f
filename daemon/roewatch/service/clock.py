"""The clock: the only place that asks what time it is."""

import threading
import time
from collections.abc import Callable
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


class LedClock:
    """Simulated time that waits for what is simulated: it shows no moment not yet heard of.

    A fast clock turns a busy moment of the machine into minutes of silence in the tanks. What is
    simulated runs at most `lead_ms` before the clock; real time spent waiting is not made up.
    """

    def __init__(
        self,
        start_ms: int,
        speed: float,
        lead_ms: int,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        if speed <= 0:
            raise ValueError(
                f"speed {speed:g} would stop or reverse time; give a number above zero"
            )
        self.speed = speed
        self._lead_ms = lead_ms
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._looked_s = monotonic()
        self._goal_ms = float(start_ms)
        self._heard_ms = start_ms

    def now_ms(self) -> int:
        """Milliseconds since the epoch of the simulated moment: all of it was heard."""
        with self._lock:
            return self._heard_ms

    def goal_ms(self) -> int:
        """How far to simulate now."""
        with self._lock:
            looked_s = self._monotonic()
            passed_ms = (looked_s - self._looked_s) * 1000 * self.speed
            self._looked_s = looked_s
            self._goal_ms = min(self._goal_ms + passed_ms, float(self._heard_ms + self._lead_ms))
            return int(self._goal_ms)

    def heard(self, at_ms: int) -> None:
        """All that is simulated up to then was heard."""
        with self._lock:
            self._heard_ms = max(self._heard_ms, at_ms)
