"""The sender: hands notices over, one thread for each way, and says what became of each attempt."""

import logging
import queue
import random
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.outbox.channel import Channel, Picture, PictureChannel, Refused, TryLater
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, iso, span_text

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Persistence:
    """How hard to try. first_ms: the wait after the first failure, doubled for each further one.

    longest_ms: bound of that wait; attempts: how often at most; age_ms: and for how long at most.
    """

    first_ms: int
    longest_ms: int
    attempts: int
    age_ms: int

    def wait_ms(self, attempt: int, share: float) -> int:
        """The wait after `attempt` failures, `share` of 0 to 1 spreading it by a fifth each way."""
        doubled_ms = self.first_ms << min(attempt - 1, 30)
        return round(min(doubled_ms, self.longest_ms) * (0.8 + 0.4 * share))


PERSISTENCE: Mapping[Priority, Persistence] = {
    # high is dropped only when it is no longer wanted, or a day old: then the page has it anyway
    Priority.HIGH: Persistence(
        first_ms=2 * SECOND_MS, longest_ms=4 * MINUTE_MS, attempts=1_000, age_ms=DAY_MS
    ),
    Priority.MEDIUM: Persistence(
        first_ms=10 * SECOND_MS, longest_ms=20 * MINUTE_MS, attempts=100, age_ms=DAY_MS
    ),
    Priority.LOW: Persistence(first_ms=MINUTE_MS, longest_ms=HOUR_MS, attempts=12, age_ms=DAY_MS),
}
_ELSEWHERE = ""
_LATER_THAN_TEXT = 9
_PICTURED = frozenset({About.RAISED, About.ESCALATED})
LONGEST_REASON = 300
"""Characters kept of what a receiver said; some answer with whole pages."""
LATE_MS = 5 * MINUTE_MS
"""A notice handed over later than this says so."""


class Sender:
    """Tries to hand notices over. The caller keeps them, and pushes again what is due again.

    clock_ms: event clock. on_receipt: called from a worker thread for every attempt, with the
    moment of the next one, or None when there will be none. wanted: asked before each attempt;
    what is no longer wanted is given up. chance: 0 to 1, for spreading retries. picture: the
    chart that follows a raise once its text was taken, asked for in a worker thread; None for none.
    """

    def __init__(
        self,
        channels: Mapping[str, Channel],
        clock_ms: Callable[[], int],
        *,
        on_receipt: Callable[[Receipt, int | None], None],
        wanted: Callable[[Notice], bool] = lambda _: True,
        chance: Callable[[], float] = random.random,
        picture: Callable[[Notice], Picture | None] = lambda _: None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock_ms = clock_ms
        self._on_receipt = on_receipt
        self._wanted = wanted
        self._chance = chance
        self._picture = picture
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._in_flight: set[str] = set()
        self._busy_since: dict[str, float] = {}
        self._stopping = threading.Event()
        self._channels: dict[str, Channel] = {}
        self._queues: dict[str, queue.PriorityQueue[_Job]] = {}
        self._threads: dict[str, threading.Thread] = {}
        # notices for ways that are gone have a queue as well: `push` itself never calls back
        self._open(_ELSEWHERE)
        self.serve(channels)

    def serve(self, channels: Mapping[str, Channel]) -> None:
        """Go by these from now on. A notice that waits for a way that is gone is refused."""
        for way in channels:
            if way not in self._threads:
                self._open(way)
        with self._lock:
            self._channels = dict(channels)

    def _open(self, way: str) -> None:
        # a daemon thread: a receiver that hangs must not hold up the end of the program
        thread = threading.Thread(target=self._work, args=(way,), name=f"outbox {way}", daemon=True)
        with self._lock:
            self._queues[way] = queue.PriorityQueue()
            self._threads[way] = thread
        thread.start()

    def push(self, notices: Sequence[tuple[Notice, int]]) -> None:
        """Try these, each with the attempts made before; what is in flight already is left out."""
        for notice, attempts in notices:
            with self._lock:
                if notice.id in self._in_flight or self._stopping.is_set():
                    continue
                self._in_flight.add(notice.id)
                way = notice.way if notice.way in self._channels else _ELSEWHERE
                waiting = self._queues[way]
            waiting.put(
                _Job((notice.priority.rank, notice.made_ms, notice.id), notice, attempts + 1)
            )

    def stop(self, timeout_s: float) -> None:
        """End after the attempts under way, or after `timeout_s` whatever hangs."""
        self._stopping.set()
        with self._lock:
            queues, threads = list(self._queues.values()), list(self._threads.values())
        for waiting in queues:
            waiting.put(_LAST)
        for thread in threads:
            thread.join(timeout_s / len(threads))

    def stuck(self, longer_than_s: float) -> list[str]:
        """The ways whose one attempt has lasted longer than that, or whose thread has died."""
        now_s = self._monotonic()
        with self._lock:
            since, threads = dict(self._busy_since), dict(self._threads)
        return [
            way
            for way, thread in threads.items()
            if not thread.is_alive() or now_s - since.get(way, now_s) > longer_than_s
        ]

    # -- a worker ---------------------------------------------------------------------------

    def _work(self, way: str) -> None:
        while True:
            job = self._queues[way].get()
            if job is _LAST or self._stopping.is_set():
                return
            if job.notice is None:
                continue
            try:
                if job.rank[0] == _LATER_THAN_TEXT:
                    self._show(way, job.notice)
                else:
                    self._attempt(way, job, job.notice)
            except Exception:
                # one notice must not silence its way for all that follow; it is tried again
                log.exception("sending_failed way=%r notice=%s", way, job.notice.id)
                next_ms = self._clock_ms() + MINUTE_MS
                self._finish(
                    job, Outcome.TRY_LATER, "a fault in this program; see its log", next_ms
                )

    @contextmanager
    def _busy(self, way: str) -> Iterator[None]:
        """An attempt is under way: what `stuck` measures. Keeping its receipt is no part of it."""
        with self._lock:
            self._busy_since[way] = self._monotonic()
        try:
            yield
        finally:
            with self._lock:
                del self._busy_since[way]

    def _attempt(self, way: str, job: "_Job", notice: Notice) -> None:
        if not self._wanted(notice):
            self._finish(job, Outcome.GIVEN_UP, "acknowledged or over before it could go", None)
            return
        channel = self._channels.get(way)
        if channel is None:
            reason = f"there is no way {notice.way} any more; see the contacts in the settings"
            self._finish(job, Outcome.REFUSED, reason, None)
            return
        try:
            with self._busy(way):
                channel.send(_with_lateness(notice, self._clock_ms()))
        except TryLater as later:
            self._later(job, notice, later)
        except Refused as refused:
            log.warning("notice_refused way=%r reason=%r", way, str(refused))
            self._finish(job, Outcome.REFUSED, str(refused), None)
        else:
            self._finish(job, Outcome.TAKEN, "", None)
            if notice.about in _PICTURED and isinstance(channel, PictureChannel):
                self._queues[way].put(replace(job, rank=(_LATER_THAN_TEXT, *job.rank[1:])))

    def _show(self, way: str, notice: Notice) -> None:
        """The picture, after every text that waits; it may fail freely."""
        channel, picture = self._channels.get(way), self._picture(notice)
        if picture is None or not isinstance(channel, PictureChannel):
            return
        try:
            with self._busy(way):
                channel.send_picture(notice, picture)
        except (TryLater, Refused) as reason:
            log.info("picture_not_sent way=%r reason=%r", way, str(reason))

    def _later(self, job: "_Job", notice: Notice, later: TryLater) -> None:
        now_ms = self._clock_ms()
        trying = PERSISTENCE.get(notice.priority, PERSISTENCE[Priority.LOW])
        if job.attempt >= trying.attempts or now_ms - notice.made_ms >= trying.age_ms:
            reason = f"given up after {job.attempt} attempts: {later}"
            log.warning("notice_given_up way=%r reason=%r", notice.way, reason)
            self._finish(job, Outcome.GIVEN_UP, reason, None)
            return
        if job.attempt == 1:
            log.warning("notice_delayed way=%r reason=%r", notice.way, str(later))
        wait_ms = trying.wait_ms(job.attempt, self._chance())
        if later.after_ms is not None:
            # the receiver's wish counts, but not beyond our own bound
            wait_ms = max(wait_ms, min(later.after_ms, trying.longest_ms))
        self._finish(job, Outcome.TRY_LATER, str(later), now_ms + wait_ms)

    def _finish(self, job: "_Job", outcome: Outcome, reason: str, next_ms: int | None) -> None:
        assert job.notice is not None
        receipt = Receipt(
            notice=job.notice.id,
            at_ms=self._clock_ms(),
            outcome=outcome,
            reason=reason[:LONGEST_REASON],
            attempt=job.attempt,
        )
        # told before it leaves flight, so that it cannot be pushed again in between
        try:
            self._on_receipt(receipt, next_ms)
        except Exception:
            # whoever keeps receipts could not; the notice stays due there and goes once more
            log.exception("receipt_lost notice=%s outcome=%s", receipt.notice, outcome)
        finally:
            with self._lock:
                self._in_flight.discard(job.notice.id)


@dataclass(frozen=True, slots=True, order=True)
class _Job:
    """One attempt to make, most urgent and oldest first."""

    rank: tuple[int, int, str]
    notice: Notice | None = field(compare=False)
    attempt: int = field(compare=False)


_LAST = _Job((-1, 0, ""), None, 0)


def _with_lateness(notice: Notice, now_ms: int) -> Notice:
    late_ms = now_ms - notice.made_ms
    if late_ms < LATE_MS:
        return notice
    said = f"Late by {span_text(late_ms)}: written {iso(notice.made_ms)}, could not go before."
    return replace(notice, body=f"{said}\n{notice.body}")
