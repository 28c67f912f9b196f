"""A pigeonhole: keeps every notice instead of sending it, for a dry run."""

import threading

from roewatch.alarms.notice import Notice


class Pigeonhole:
    """A channel that takes everything; the same notice twice is kept once."""

    def __init__(self) -> None:
        self._taken: dict[str, Notice] = {}
        self._changed = threading.Condition()

    def send(self, notice: Notice) -> None:
        """Keep it."""
        with self._changed:
            self._taken.setdefault(notice.id, notice)
            self._changed.notify_all()

    @property
    def notices(self) -> list[Notice]:
        """What was taken, in order."""
        with self._changed:
            return list(self._taken.values())

    def wait_for(self, count: int, timeout_s: float) -> bool:
        """Whether at least `count` notices were taken within `timeout_s`."""
        with self._changed:
            return self._changed.wait_for(lambda: len(self._taken) >= count, timeout_s)
