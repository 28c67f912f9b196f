"""The rounds: what the daemon does by the clock, with no reading to prompt it."""

import logging
from collections.abc import Callable

from apscheduler.schedulers.background import BackgroundScheduler

log = logging.getLogger(__name__)

TICK_S = 5.0
DELIVER_S = 2.0
SHORTEST_S = 0.2  # a fast clock shortens the rounds, but never to a busy loop


class Rounds:
    """Calls errands at steady intervals of the daemon's clock, which may run fast in the demo."""

    def __init__(self, speed: float = 1.0) -> None:
        # it logs every job and every run at INFO; we log changes only
        logging.getLogger("apscheduler").setLevel(logging.WARNING)
        self._speed = speed
        self._scheduler = BackgroundScheduler(timezone="UTC")

    def every(self, seconds: float, errand: Callable[[], None], name: str) -> None:
        """Call `errand` each `seconds` of the daemon's clock; a missed round is made up once."""
        self._scheduler.add_job(
            errand,
            "interval",
            seconds=max(SHORTEST_S, seconds / self._speed),
            id=name,
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
        )

    def start(self) -> None:
        """Begin the rounds."""
        self._scheduler.start()

    def stop(self) -> None:
        """End the rounds; an errand under way finishes."""
        self._scheduler.shutdown(wait=True)
