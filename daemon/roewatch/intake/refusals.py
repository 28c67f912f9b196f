"""Refusals: what could not be read, counted for each topic, with one example of it."""

import logging
import threading
from dataclasses import dataclass

from roewatch.intake.decode import Refused
from roewatch.intake.example import example

log = logging.getLogger(__name__)

OTHER_TOPICS = "(other topics)"
"""Where refusals are counted once `topic_limit` topics have some: strangers cannot eat memory."""

CLEAN_RUN = 20
"""Messages in a row without a refusal after which a topic counts as mended."""

_LONGEST_TOPIC = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedTopic:
    """One topic's refusals. why, example: of the latest. open: it is not mended since."""

    topic: str
    count: int
    why: str
    example: str
    open: bool


@dataclass(slots=True)
class _Tally:
    count: int
    why: str
    example: str
    open: bool = True
    since_open: int = 0
    clean: int = 0


class RefusalLog:
    """Counts refusals by topic. Written by one thread, read by any.

    One log line when a topic is first refused, one when it is accepted again: a topic that is
    refused now and then would otherwise fill the log, so `CLEAN_RUN` good messages must come first.
    """

    def __init__(self, *, topic_limit: int = 1000) -> None:
        self._limit = topic_limit
        self._tallies: dict[str, _Tally] = {}
        self._open: set[str] = set()
        self._lock = threading.Lock()
        self._total = 0
        self._old_news = 0

    def refused(self, refusal: Refused) -> None:
        """Counts one refusal, and says so if it is news."""
        with self._lock:
            self._total += 1
            topic = self._filed_under(refusal.topic)
            tally = self._tallies.get(topic)
            if tally is None:
                tally = self._tallies[topic] = _Tally(0, "", "", open=False)
            news = not tally.open
            if news:
                tally.open, tally.since_open = True, 0
                self._open.add(topic)
            tally.count += 1
            tally.since_open += 1
            tally.clean = 0
            tally.why, tally.example = refusal.why, refusal.example
        if news:
            log.warning(
                "payload_refused topic=%s got=%s why=%s",
                example(topic),
                refusal.example,
                example(refusal.why, longest=300),
            )

    def accepted(self, topic: str) -> None:
        """Notes a message on `topic` of which nothing was refused."""
        if topic not in self._open:
            return
        with self._lock:
            tally = self._tallies[topic]
            tally.clean += 1
            if tally.clean < CLEAN_RUN:
                return
            tally.open = False
            self._open.discard(topic)
            refused = tally.since_open
        log.info("payload_accepted_again topic=%s refused=%d", example(topic), refused)

    def old_news(self) -> None:
        """Counts a retained message that was dropped because nothing in it says of when it is."""
        self._old_news += 1

    @property
    def total(self) -> int:
        """Refusals of all topics since the start."""
        return self._total

    @property
    def retained_dropped(self) -> int:
        """Retained messages dropped as old news since the start."""
        return self._old_news

    def topics(self) -> tuple[RefusedTopic, ...]:
        """Every topic with refusals, most of them first."""
        with self._lock:
            found = [
                RefusedTopic(
                    topic=topic,
                    count=tally.count,
                    why=tally.why,
                    example=tally.example,
                    open=tally.open,
                )
                for topic, tally in self._tallies.items()
            ]
        return tuple(sorted(found, key=lambda one: (-one.count, one.topic)))

    def _filed_under(self, topic: str) -> str:
        if topic in self._tallies:
            return topic
        if len(topic) > _LONGEST_TOPIC:
            return OTHER_TOPICS
        return topic if len(self._tallies) < self._limit else OTHER_TOPICS
