"""The heartbeat: asks an outside watcher's address, so that its absence is noticed elsewhere.

It is only the last step. For its absence to mean something the beat must have travelled the
whole way first: broker, store, judging, sender. The service sends it on; this asks the address.
"""

import logging
import queue
import threading

import requests

from roewatch.outbox.channel import UnusableWay
from roewatch.outbox.veil import Veil

log = logging.getLogger(__name__)


class Heartbeat:
    """One GET for each `beat`, in a thread of its own; beats do not pile up behind a slow one."""

    def __init__(self, url: str, *, timeout_s: float = 10.0) -> None:
        """Raises UnusableWay if the address is none."""
        self._veil = Veil(url)
        try:
            requests.Request("GET", url).prepare()
        except (requests.RequestException, ValueError) as error:
            raise UnusableWay(f"heartbeat: {self._veil.over(str(error))}") from None
        self._url = url
        self._timeout_s = timeout_s
        self._beats: queue.Queue[bool] = queue.Queue(maxsize=1)
        self._lock = threading.Lock()
        self._trouble = ""
        self._missed = 0
        self._thread = threading.Thread(target=self._work, name="heartbeat", daemon=True)
        self._thread.start()

    @property
    def trouble(self) -> str:
        """Why the last beat failed, without secrets; empty when it did not."""
        with self._lock:
            return self._trouble

    def beat(self) -> None:
        """Ask the address, unless the last beat is still waiting to."""
        try:
            self._beats.put_nowait(True)
        except queue.Full:
            log.debug("heartbeat_still_waiting")

    def stop(self, timeout_s: float) -> None:
        """End after the beat that waits; one that hangs is left to itself after `timeout_s`."""
        try:
            self._beats.put(False, timeout=timeout_s)
        except queue.Full:
            log.warning("heartbeat_left_hanging")
            return
        self._thread.join(timeout_s)

    def _work(self) -> None:
        while self._beats.get():
            self._note(self._ask())

    def _ask(self) -> str:
        try:
            with requests.get(
                self._url,
                timeout=self._timeout_s,
                headers={"User-Agent": "roewatch"},
                stream=True,
            ) as answer:
                if answer.ok:
                    return ""
                return f"the watcher answered {answer.status_code}"
        except requests.Timeout:
            return f"the watcher did not answer within {self._timeout_s:g} s"
        except requests.RequestException as error:
            return self._veil.over(f"no connection to the watcher: {error}")

    def _note(self, trouble: str) -> None:
        with self._lock:
            before, self._trouble = self._trouble, trouble
        if trouble:
            self._missed += 1
        # one line for each change, never for each beat
        if trouble and not before:
            log.warning("heartbeat_lost reason=%r", trouble)
        elif before and not trouble:
            log.info("heartbeat_back missed=%d", self._missed)
            self._missed = 0
