"""A path test: one synthetic reading that must come back from the broker and end as receipts."""

import secrets
import threading
from collections.abc import Mapping, Sequence

from roewatch.alarms.notice import Notice, Outcome, Receipt


class PathTest:
    """One test under way. Filled by the watch loop, waited for by whoever asked."""

    def __init__(self) -> None:
        self.word = secrets.token_hex(8)
        self.notices: tuple[Notice, ...] = ()
        self._receipts: dict[str, Receipt] = {}
        self._changed = threading.Condition()
        self._arrived = False

    @property
    def payload(self) -> bytes:
        """What travels; nobody else knows the word, so nobody else can set off a test."""
        return self.word.encode()

    def arrived(self, notices: Sequence[Notice]) -> None:
        """It came back and was kept, with these notices."""
        with self._changed:
            self._arrived, self.notices = True, tuple(notices)
            self._changed.notify_all()

    def heard(self, receipt: Receipt) -> None:
        """One attempt to hand one of its notices over."""
        with self._changed:
            self._receipts[receipt.notice] = receipt
            self._changed.notify_all()

    def wait_arrival(self, timeout_s: float) -> bool:
        """Whether it came back within that time."""
        with self._changed:
            return self._changed.wait_for(lambda: self._arrived, timeout_s)

    def wait_receipts(self, timeout_s: float) -> Mapping[str, Receipt]:
        """The last receipt by notice id, once every notice is taken, or failed, or time is up."""
        with self._changed:
            self._changed.wait_for(self._finished, timeout_s)
            return dict(self._receipts)

    def _finished(self) -> bool:
        found = [self._receipts.get(notice.id) for notice in self.notices]
        return self._arrived and all(r and r.outcome is not Outcome.TRY_LATER for r in found)


class PathTests:
    """Those under way, the newest last; an old one whose asker has left is forgotten."""

    MOST = 8

    def __init__(self) -> None:
        self._under_way: dict[bytes, PathTest] = {}
        self._lock = threading.Lock()

    def begin(self) -> PathTest:
        """A new one."""
        test = PathTest()
        with self._lock:
            while len(self._under_way) >= self.MOST:
                del self._under_way[next(iter(self._under_way))]
            self._under_way[test.payload] = test
        return test

    def of(self, payload: bytes) -> PathTest | None:
        """The test that sent this payload; None for a stranger's, and for one come twice."""
        with self._lock:
            test = self._under_way.get(payload)
        return test if test is not None and not test.wait_arrival(0) else None

    def heard(self, receipt: Receipt) -> None:
        """Give a receipt to the test whose notice it is about, if any."""
        with self._lock:
            tests = list(self._under_way.values())
        for test in tests:
            if any(notice.id == receipt.notice for notice in test.notices):
                test.heard(receipt)
