"""The pulse's own way: where a beat that has gone through the sender ends."""

import threading

from roewatch.alarms.notice import Notice


class PulseWay:
    """The way of the beat itself: it ends here, having passed through a sender's thread.

    hold: while it is locked the beat hangs in the sender; for tests.
    """

    NAME = "(pulse)"

    def __init__(self) -> None:
        self.hold = threading.Lock()

    def send(self, notice: Notice) -> None:  # noqa: ARG002  # there is nobody to hand it to
        """See `Channel`."""
        with self.hold:
            return
