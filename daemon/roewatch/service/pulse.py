"""The pulse: a beat that travels the whole way a reading and a notice do, to show that it is open.

Published on our own topic, it comes back from the broker, is kept in a transaction of the store,
passes the fold, and goes through a thread of the sender. Only then is the outside watcher asked
and the service manager told. A stage that hangs holds the beat, and the outside misses it.

A link that is down, or a store that refuses, is no hang but a trouble that is known, told and
worked on: the outside watcher misses the beat then as well, but the service manager is told that
we live, for a restart would mend neither and would forget what waits.
"""

import logging
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass

from roewatch.alarms.notice import About, Notice
from roewatch.room.kind import Priority
from roewatch.service.ways import PulseWay

log = logging.getLogger(__name__)

PREFIX = "pulse-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Arteries:
    """What a beat passes through and whom it reaches.

    publish: send it to the broker. linked: whether there is a link. inside: let it pass store and
    fold without the broker. push: give it to the sender. hanging: names of ways that hang.
    outside: ask the watcher's address. alive: tell the service manager.
    """

    publish: Callable[[bytes], None]
    linked: Callable[[], bool]
    inside: Callable[[str], None]
    push: Callable[[Notice], None]
    hanging: Callable[[], list[str]]
    outside: Callable[[], None]
    alive: Callable[[], None]


class Pulse:
    """Beats when told to; `kept` and `handed_over` are called as the beat travels, by any thread.

    ping_every: every so many completed beats the outside is asked, the first one included.
    """

    def __init__(self, arteries: Arteries, *, ping_every: int = 1) -> None:
        self._arteries = arteries
        self._ping_every = max(1, ping_every)
        self._run = secrets.token_hex(4)  # beats of an earlier life may still be in the queue
        self._lock = threading.Lock()
        self._number = 0
        self._outside = False
        self._stage = ""
        self._lost = ""
        self._since_ping = self._ping_every
        self.completed = 0

    def beat(self, now_ms: int) -> None:
        """Send the next beat on its way; one that is still under way is given up."""
        linked = self._arteries.linked()
        with self._lock:
            self._note_lost()
            self._number += 1
            self._since_ping += 1
            self._outside = linked
            self._stage = "broker" if linked else "watch loop"
            text = f"{self._run} {self._number} {now_ms}"
        if linked:
            self._arteries.publish(text.encode())
        else:
            self._arteries.inside(text)

    def kept(self, text: str) -> None:
        """The beat is on disk and passed the fold: on to the sender."""
        run, _, rest = text.partition(" ")
        number, _, at = rest.partition(" ")
        with self._lock:
            if (run, number) != (self._run, str(self._number)) or not at.isdecimal():
                return
            self._stage = "sender"
        self._arteries.push(_notice(self._run, self._number, int(at)))

    def handed_over(self, notice: str) -> bool:
        """A receipt came for this notice; returns whether it is a beat's."""
        if not notice.startswith(PREFIX):
            return False
        hanging = self._arteries.hanging()
        with self._lock:
            if notice != f"{PREFIX}{self._run}-{self._number}" or not self._stage:
                return True
            if hanging:
                self._stage = f"way {hanging[0]}"
                return True
            self._stage = ""
            self.completed += 1
            outside = self._outside and self._since_ping >= self._ping_every
            if outside:
                self._since_ping = 0
            if self._lost:
                log.info("pulse_back after=%r", self._lost)
                self._lost = ""
        self._arteries.alive()
        if outside:
            self._arteries.outside()
        return True

    def _note_lost(self) -> None:
        if self._stage and self._stage != self._lost:
            self._lost = self._stage
            log.error("pulse_lost stage=%r", self._stage)


def _notice(run: str, number: int, at_ms: int) -> Notice:
    return Notice(
        id=f"{PREFIX}{run}-{number}",
        contact="",
        way=PulseWay.NAME,
        about=About.WELL,
        priority=Priority.LOW,
        alarms=(),
        title="pulse",
        body="",
        made_ms=at_ms,
        due_ms=at_ms,
    )
