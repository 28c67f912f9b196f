"""The lag: how far behind our clock even the freshest readings are.

Probes with a clock of their own may all agree on another time than ours: ours was set wrong, or
the gateway they share is off. Held against our clock all of them would count as silent while they
speak. So the judge's clock is ours less what the freshest reading of the last minutes lags.
"""

import time
from collections.abc import Callable

from roewatch.room.moment import MINUTE_MS
from roewatch.service.backlog import LATE_MS

WINDOW_S = 5 * MINUTE_MS / 1000


class Lag:
    """Fed with every batch; asked before every tick."""

    def __init__(self, speed: float = 1.0, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._window_s = WINDOW_S / speed
        self._monotonic = monotonic
        self._since_s = monotonic()
        self._least: int | None = None
        self._before: int | None = None

    def saw(self, lag_ms: int) -> None:
        """The freshest reading of a batch was so old when it came."""
        now_s = self._monotonic()
        if now_s - self._since_s >= self._window_s:
            self._since_s, self._before, self._least = now_s, self._least, None
        self._least = lag_ms if self._least is None else min(self._least, lag_ms)

    @property
    def ms(self) -> int:
        """The lag; 0 while it is no more than any reading may take. Silence does not change it."""
        known = [lag for lag in (self._before, self._least) if lag is not None]
        least = min(known, default=0)
        return least if least > LATE_MS else 0
