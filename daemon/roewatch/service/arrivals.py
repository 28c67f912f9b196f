"""Arrivals: when messages truly came, where the clock was set between then and now.

A message is stamped with the clock as it stood. The monotonic clock beside it, which nobody sets,
says how long ago that was; counted back from a clock that is right now, it gives the true moment,
as exactly as the two clocks run alike: to milliseconds in minutes. It stands still while the
machine sleeps, and a message that the broker sends again counts from then.
"""

import time
from collections.abc import Callable, Sequence

from roewatch.intake.message import Message
from roewatch.service.clock_sense import STEP_MS

SAME_MS = 1000
"""Two shifts closer than this are one: what was stamped by one clock keeps its distances."""


class Arrivals:
    """Puts moments of arrival right. speed: of the clock against the monotonic one."""

    def __init__(self, speed: float = 1.0, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._speed = speed
        self._monotonic = monotonic
        self._shift_ms = 0

    def put_right(self, messages: Sequence[Message], now_ms: int) -> Sequence[Message]:
        """The same messages, oldest first; those stamped before the clock was set, anew."""
        now_s = self._monotonic()
        if not messages or not self._is_off(messages[0], now_ms, now_s):
            return messages  # nor is any that came later
        return [self._right(message, now_ms, now_s) for message in messages]

    def _right(self, message: Message, now_ms: int, now_s: float) -> Message:
        shift_ms = self._off_ms(message, now_ms, now_s)
        if abs(shift_ms) < STEP_MS * self._speed:
            return message
        if abs(shift_ms - self._shift_ms) > SAME_MS:
            self._shift_ms = shift_ms
        return message._replace(arrival_ms=message.arrival_ms + self._shift_ms)

    def _is_off(self, message: Message, now_ms: int, now_s: float) -> bool:
        return abs(self._off_ms(message, now_ms, now_s)) >= STEP_MS * self._speed

    def _off_ms(self, message: Message, now_ms: int, now_s: float) -> int:
        if message.ticked_s is None:
            return 0
        ago_ms = (now_s - message.ticked_s) * 1000 * self._speed
        return round(now_ms - ago_ms) - message.arrival_ms
