"""The inbox: errands that other threads have for the watch loop, and the answers they wait for."""

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future, wait
from typing import NamedTuple

ANSWER_S = 30


class NotKept(ValueError):  # noqa: N818  # named as it reads where it is caught
    """The store cannot keep anything just now; the text says why. Nothing was changed."""


class _Errand(NamedTuple):
    """One errand. answer: who waits for it. patient: waits however long the store is in trouble."""

    do: Callable[[], None]
    answer: Future[None] | None
    patient: bool


class Inbox:
    """Filled by any thread, emptied by the watch loop. wake: tells the loop that it was filled."""

    def __init__(self, wake: Callable[[], None] = lambda: None) -> None:
        self._wake = wake
        self._errands: queue.SimpleQueue[_Errand] = queue.SimpleQueue()
        self._held: list[_Errand] = []
        self._over = threading.Event()

    def put(self, errand: Callable[[], None]) -> None:
        """Have it done soon; nobody waits, and in trouble it is dropped."""
        self._errands.put(_Errand(errand, None, patient=False))
        self._wake()

    def ask(self, errand: Callable[[], None], *, patient: bool = False) -> None:
        """Have it done, and return once it is; what it raises is raised here.

        Raises NotKept while the store is in trouble, unless `patient`: then it waits for the end
        of the trouble. Raises TimeoutError when the loop does not answer.
        """
        answer: Future[None] = Future()
        self._errands.put(_Errand(errand, answer, patient))
        self._wake()
        waited_s = 0
        while patient or waited_s < ANSWER_S:
            if wait([answer], timeout=1).done:
                answer.result()
                return
            if self._over.is_set():
                break
            waited_s += 1
        raise TimeoutError("the watch loop did not answer")

    def run(self) -> None:
        """Do what is there. Called by the watch loop only.

        What an errand raises goes to whoever asked. All but ValueError, which is the asker's to
        mend, goes on to the loop as well: memory may then be ahead of the disk.
        """
        while (errand := self._next()) is not None:
            try:
                errand.do()
            except ValueError as refused:
                if errand.answer is None:
                    raise
                errand.answer.set_exception(refused)
            except Exception as error:
                self._failed(errand, error)
                raise
            else:
                if errand.answer is not None:
                    errand.answer.set_result(None)

    def _next(self) -> _Errand | None:
        if self._held:
            return self._held.pop(0)
        try:
            return self._errands.get_nowait()
        except queue.Empty:
            return None

    def _failed(self, errand: _Errand, error: Exception) -> None:
        if errand.answer is None:
            return
        if errand.patient:
            self._held.insert(0, errand)
        else:
            errand.answer.set_exception(NotKept(f"that could not be kept: {error}"))

    def refuse(self, why: str) -> None:
        """The store is in trouble: who can be told is told; who is patient is kept waiting."""
        waiting: list[_Errand] = []
        while (errand := self._next()) is not None:
            if errand.patient:
                waiting.append(errand)
            elif errand.answer is not None:
                errand.answer.set_exception(NotKept(why))
        self._held = waiting

    def close(self) -> None:
        """Nobody will be answered any more."""
        self._over.set()
