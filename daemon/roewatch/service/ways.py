"""Ways under watch: every way to a person, timed, so that one that hangs is noticed."""

import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

from roewatch.alarms.notice import Notice
from roewatch.outbox.channel import Channel


class TimedWay:
    """A channel that knows how long its attempt under way has lasted."""

    def __init__(self, channel: Any, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._channel = channel
        self._monotonic = monotonic
        self._began_s: float | None = None

    def send(self, notice: Notice) -> None:
        """See `Channel`."""
        self._timed(lambda: self._channel.send(notice))

    def _timed(self, send: Callable[[], None]) -> None:
        self._began_s = self._monotonic()
        try:
            send()
        finally:
            self._began_s = None

    def lasts_s(self) -> float:
        """Seconds since the attempt under way began; 0 when there is none."""
        began_s = self._began_s
        return 0.0 if began_s is None else self._monotonic() - began_s


class TimedPictureWay(TimedWay):
    """One that takes pictures as well: the sender sends them only to those that can."""

    def send_picture(self, notice: Notice, picture: Any) -> None:
        """See the channel's own."""
        self._timed(lambda: self._channel.send_picture(notice, picture))


def timed(channel: Channel) -> TimedWay:
    """The channel, timed, and able to do what it could before."""
    return (TimedPictureWay if hasattr(channel, "send_picture") else TimedWay)(channel)


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


def hanging(ways: Mapping[str, TimedWay], longer_than_s: float) -> list[str]:
    """The names of ways whose one attempt has lasted longer than that."""
    return [name for name, way in ways.items() if way.lasts_s() > longer_than_s]
