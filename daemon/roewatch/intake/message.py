"""A message: what the broker handed over, and the bounded queue it waits in to be judged."""

import threading
import time
from collections import deque
from collections.abc import Callable
from typing import NamedTuple

BURST, BURST_GAP_S, QUIET_S = 20, 0.001, 0.005
"""A burst: so many messages, on average closer than this; over when none came for the last.

20 is what a Mosquitto as it comes lets be unacknowledged."""


_STEP_MS = 60_000
_MOST_TOPICS = 20_000


class Token(NamedTuple):
    """What acknowledges a message. connection: counts links; another link's token is stale."""

    mid: int
    qos: int
    connection: int


class Message(NamedTuple):
    """One message as it arrived. dup: the broker says it has sent it before.

    ticked_s: the monotonic clock at the arrival, which nobody sets; None where nobody looked.
    """

    topic: str
    payload: bytes
    retained: bool
    arrival_ms: int
    token: Token
    dup: bool = False
    ticked_s: float | None = None


class Stamps:
    """Moments of arrival, no two alike on one topic.

    A backlog drains faster than the clock ticks in milliseconds, and of two readings for one probe
    and moment only one can be kept. clock_ms: the present moment, UTC.
    """

    def __init__(self, clock_ms: Callable[[], int]) -> None:
        self._clock_ms = clock_ms
        self._last: dict[str, int] = {}

    def of(self, topic: str) -> int:
        """The moment now, or just after the last one on `topic`.

        A clock set back by more than `_STEP_MS` is followed at once.
        """
        now_ms = self._clock_ms()
        last_ms = self._last.get(topic)
        if last_ms is not None and now_ms <= last_ms < now_ms + _STEP_MS:
            now_ms = last_ms + 1
        elif len(self._last) >= _MOST_TOPICS:
            self._last.clear()
        self._last[topic] = now_ms
        return now_ms


class MessageQueue:
    """Holds at most `limit` messages; when full, the thread that brings one waits for room.

    One thread brings messages, and one takes them.
    Waiting holds back the broker through TCP, so nothing is dropped while the watch is busy.
    """

    def __init__(self, limit: int) -> None:
        if limit < 1:
            raise ValueError("a queue needs room for one message")
        self._limit = limit
        self._messages: deque[Message] = deque()
        self._lock = threading.Lock()
        self._filled = threading.Condition(self._lock)
        self._emptied = threading.Condition(self._lock)
        self._wanted = 0  # how many the watch waits for; 0 when it does not wait
        self._closed = False
        self._woken = False

    def __len__(self) -> int:
        return len(self._messages)

    def put(self, message: Message) -> bool:
        """Whether it was taken: once closed, it is not, and the broker will send it again.

        One that is sent again while its first copy still waits counts once, from when it first
        came: such a wait may be long, while our own clock is wrong.
        """
        if message.dup:
            message = self._instead_of_first(message)
        if len(self._messages) >= self._limit:
            with self._lock:
                while len(self._messages) >= self._limit and not self._closed:
                    self._emptied.wait()
        if self._closed:
            return False
        self._messages.append(message)
        # not for every message: waking the watch costs more than the message itself. It says what
        # it waits for before it looks what is there, so one of the two of us sees the other
        if 0 < self._wanted <= len(self._messages):
            with self._lock:
                self._wanted = 0
                self._filled.notify()
        return True

    def _instead_of_first(self, message: Message) -> Message:
        number = message.token.mid
        with self._lock:
            for place, first in enumerate(self._messages):
                if first.token.connection == message.token.connection:
                    break  # those of earlier links lie before
                if (first.token.mid, first.topic, first.payload) == (
                    number,
                    message.topic,
                    message.payload,
                ):
                    del self._messages[place]
                    return message._replace(arrival_ms=first.arrival_ms, ticked_s=first.ticked_s)
        return message

    def group(
        self, *, wait_s: float, limit: int, first_wait_s: float, slow_s: float = 0.0
    ) -> list[Message]:
        """Waits for a first message up to `first_wait_s`, then gathers; oldest first.

        Gathering lasts `wait_s`, or `slow_s` if that is longer and fewer than `BURST` have come by
        then: messages that are few and far between should not cost a transaction each. Returns at
        once with `limit` of them, when a burst is over, when woken, or when closed; empty if none
        came.
        """
        with self._lock:
            self._await(1, first_wait_s)
            if self._messages:
                self._gather(min(limit, self._limit), wait_s, slow_s)
            group = [self._messages.popleft() for _ in range(min(limit, len(self._messages)))]
            self._emptied.notify()
            self._woken = False
            return group

    def wake(self) -> None:
        """Lets who waits go with what there is; if nobody waits, whoever waits next."""
        with self._lock:
            self._woken = True
            self._filled.notify()

    def _await(self, wanted: int, wait_s: float) -> None:
        until = time.monotonic() + wait_s
        self._wanted = wanted
        while len(self._messages) < wanted and not (self._closed or self._woken):
            left = until - time.monotonic()
            if left <= 0:
                break
            self._filled.wait(left)
            self._wanted = wanted
        self._wanted = 0

    def _gather(self, wanted: int, wait_s: float, slow_s: float) -> None:
        """Waits out its time, unless a burst ends before.

        The broker stops when its share of unacknowledged messages is out: waiting for more of them
        would leave both of us idle until the time is up. Steady messages, further apart, are
        gathered to the end, so that they do not cost a transaction each.
        """
        began = time.monotonic()
        self._await(min(wanted, BURST), max(wait_s, slow_s))
        last, arrived_s = len(self._messages), time.monotonic() - began
        if last < BURST:
            return
        while last < wanted and not (self._closed or self._woken):
            spent_s = time.monotonic() - began
            if spent_s >= wait_s:
                break
            self._await(wanted, min(QUIET_S, wait_s - spent_s))
            if len(self._messages) == last:
                if arrived_s / last < BURST_GAP_S:
                    break
            else:
                last, arrived_s = len(self._messages), time.monotonic() - began

    def close(self) -> None:
        """Lets everybody go who waits; what is still here was never acknowledged."""
        with self._lock:
            self._closed = True
            self._messages.clear()
            self._filled.notify_all()
            self._emptied.notify_all()
