"""Counts: what went through the watch since the start; and a counter that pages wait on."""

import threading
from dataclasses import dataclass, field


@dataclass(slots=True)
class Counts:
    """What went through since the start, for pages, metrics and the closing line."""

    messages: int = 0
    readings: int = 0
    kept: int = 0
    refused: int = 0
    alarms_changed: int = 0
    notices: int = 0
    receipts: int = 0
    beats: int = 0
    store_failures: int = 0


@dataclass(slots=True)
class Changed:
    """A counter that pages wait on: it moves whenever something worth showing was kept."""

    number: int = 0
    condition: threading.Condition = field(default_factory=threading.Condition)

    def bump(self) -> None:
        """Something changed."""
        with self.condition:
            self.number += 1
            self.condition.notify_all()

    def wait(self, last: int, timeout_s: float) -> int:
        """The number once it is no longer `last`, or after `timeout_s`."""
        with self.condition:
            self.condition.wait_for(lambda: self.number != last, timeout_s)
            return self.number
