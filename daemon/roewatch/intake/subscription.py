"""A subscription: the topics the broker is asked for, and what it answered."""

from collections.abc import Iterator, Sequence

from paho.mqtt.client import topic_matches_sub
from paho.mqtt.reasoncodes import ReasonCode

from roewatch.intake.example import example

NOT_UTF8 = "(topic is not UTF-8)"
"""What stands for a topic that is no text; no broker lets one through, but bytes are bytes."""

_TOPICS_A_PACKET = 200
_STRAYS = 1000


class Subscription:
    """Belongs to the network's thread; `complete` and `trouble` may be read by any.

    Raises ValueError for a topic nobody can listen to.
    """

    def __init__(self, topics: Sequence[str]) -> None:
        self._topics = tuple(dict.fromkeys(topics))
        for topic in self._topics:
            _check(topic)
        self._exact = frozenset(self._topics)
        self._patterns = tuple(t for t in self._topics if "+" in t or "#" in t)
        self._asked: dict[int, tuple[str, ...]] = {}
        self._granted: set[str] = set()
        self._denied: set[str] = set()
        self._strays: set[str] = set()

    def session(self, *, kept: bool) -> None:
        """A connection began. kept: the broker still has our session, with its subscriptions."""
        self._asked.clear()
        if not kept:
            self._granted.clear()

    def packets(self) -> Iterator[tuple[str, ...]]:
        """What is still to be asked for, in packets.

        Not what this session was granted before: each asking brings every retained message again.
        """
        missing = [topic for topic in self._topics if topic not in self._granted]
        for start in range(0, len(missing), _TOPICS_A_PACKET):
            yield tuple(missing[start : start + _TOPICS_A_PACKET])

    def asked(self, mid: int, topics: tuple[str, ...]) -> None:
        """`topics` went out under this number."""
        self._asked[mid] = topics

    def answered(self, mid: int, reasons: Sequence[ReasonCode]) -> None:
        """The broker answered for each topic of that number, in their order."""
        for topic, reason in zip(self._asked.pop(mid, ()), reasons, strict=False):
            if reason.is_failure:
                self._denied.add(topic)
            else:
                self._granted.add(topic)
                self._denied.discard(topic)

    @property
    def complete(self) -> bool:
        """Whether every topic is granted."""
        return len(self._granted) == len(self._topics)

    @property
    def trouble(self) -> str:
        """Which topics the broker denies; empty when none."""
        if not self._denied:
            return ""
        return (
            f"the broker denies {len(self._denied)} of {len(self._topics)} topics, "
            f"{example(min(self._denied))} among them; let our user read them in its access list"
        )

    def stray(self, topic: str) -> bool:
        """Whether nobody asked for `topic`; true once for each, and for a bounded number of them.

        The lasting session still brings what an earlier settings file named.
        """
        if topic in self._exact or topic in self._strays:
            return False
        if any(topic_matches_sub(pattern, topic) for pattern in self._patterns):
            return False
        if topic == NOT_UTF8 or len(self._strays) >= _STRAYS:
            return False
        self._strays.add(topic)
        return True


def _check(topic: str) -> None:
    """MQTT 3.1.1 §4.7.1: `#` is the last level, and both wildcards are a level of their own."""
    levels = topic.split("/")
    misplaced = any(("+" in level or "#" in level) and len(level) > 1 for level in levels)
    if not topic or misplaced or "#" in levels[:-1] or "\0" in topic or len(topic.encode()) > 65535:
        raise ValueError(f"{example(topic)} cannot be listened to; check its + and # (MQTT 4.7.1)")
