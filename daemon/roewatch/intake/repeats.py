"""A repeat: a message the broker sends again although it is kept, because it never heard so.

A reading with its own time may come as often as it likes: it lands on its moment. One that is true
at its arrival would be kept twice after a crash between keeping and acknowledging. So the messages
kept last are remembered, in the same transaction as their readings, and a repeat is recognised by
the broker's own mark on it, its message number, its topic and its bytes.
"""

import base64
import struct
import zlib
from collections import deque
from collections.abc import Iterable

from roewatch.intake.message import Message
from roewatch.room.moment import MINUTE_MS

MOST = 1000
"""As many as our broker configuration lets be unacknowledged (`max_inflight_messages`)."""

LONGEST_MS = 5 * MINUTE_MS
"""After so long an acknowledgement has either arrived, or the broken link was noticed."""

_PACKED = struct.Struct(">qHI")  # arrival, message number, checksum


class Repeats:
    """What was kept last, of the messages whose readings are true at arrival.

    saved: what `saved` gave when the readings were last kept; an unreadable one counts as empty.
    """

    def __init__(self, saved: str = "") -> None:
        self._kept: deque[tuple[int, int, int]] = deque(maxlen=MOST)
        self._known: dict[tuple[int, int], int] = {}
        for entry in _unpacked(saved):
            self._note(*entry)

    def known(self, message: Message) -> bool:
        """Whether this is a repeat of a message that is kept: acknowledge it, and no more."""
        return message.dup and (message.token.mid, _checksum(message)) in self._known

    def keep(self, messages: Iterable[Message]) -> str:
        """Remembers messages about to be kept. Returns the text to keep in the same transaction.

        Call it with those that gave a reading without its own time; QoS 0 is never repeated.
        """
        newest_ms = 0
        for message in messages:
            if message.token.qos:
                self._note(message.arrival_ms, message.token.mid, _checksum(message))
                newest_ms = message.arrival_ms
        while self._kept and self._kept[0][0] < newest_ms - LONGEST_MS:
            self._forget_first()
        return self.saved()

    def saved(self) -> str:
        """All that is remembered, as text: some 19 characters for each message."""
        return base64.b64encode(b"".join(_PACKED.pack(*entry) for entry in self._kept)).decode()

    def _note(self, arrival_ms: int, mid: int, checksum: int) -> None:
        if len(self._kept) == MOST:
            self._forget_first()
        self._kept.append((arrival_ms, mid, checksum))
        self._known[mid, checksum] = self._known.get((mid, checksum), 0) + 1

    def _forget_first(self) -> None:
        _, mid, checksum = self._kept.popleft()
        self._known[mid, checksum] -= 1
        if not self._known[mid, checksum]:
            del self._known[mid, checksum]


def _checksum(message: Message) -> int:
    return zlib.crc32(message.payload, zlib.crc32(message.topic.encode()))


def _unpacked(saved: str) -> list[tuple[int, int, int]]:
    try:
        raw = base64.b64decode(saved, validate=True)
        return [(at_ms, mid, crc) for at_ms, mid, crc in _PACKED.iter_unpack(raw)]
    except (ValueError, struct.error):
        return []
