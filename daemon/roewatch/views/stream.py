"""A stream: what changed in the room, sent to open pages as it happens.

Every page draws itself from the room as it was at one numbered change; the stream brings what
came after. Any number of pages share one look at the room; a slow page holds up nobody.
"""

import asyncio
import json
import secrets
import threading
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from dataclasses import dataclass, field

from starlette.concurrency import run_in_threadpool

from roewatch.views.ports import Live
from roewatch.views.sight import Lookout, Sight

REMEMBERED = 120
"""So many changes can be sent after; a page that slept through more draws itself anew."""

_WAIT_S = 10.0
_LEAST_PAUSE_S = 1.0
_SHARE = 20  # looking at the room may take a twentieth of one processor
_BEAT_S = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """The parts of a page that change by themselves: the strip, and each tank's cell."""

    strip: str
    cells: dict[str, str] = field(default_factory=dict)
    news: dict[int, str] = field(default_factory=dict)  # alarms nobody has seen, by number


class Stream:
    """Numbers the changes and hands them to whoever listens."""

    def __init__(self, lookout: Lookout, live: Live, draw: Callable[[Sight], Drawn]) -> None:
        self._lookout = lookout
        self._live = live
        self._draw = draw
        self._epoch = secrets.token_hex(4)  # numbers of an earlier process mean nothing
        self._lock = threading.Lock()
        self._number = 0
        self._known = Drawn(strip="")
        self._changes: deque[tuple[int, Drawn]] = deque(maxlen=REMEMBERED)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._changed = asyncio.Event()
        self._listeners = 0
        self._alone = asyncio.Event()
        self._watching: asyncio.Task[None] | None = None

    def publish(self, sight: Sight) -> str:
        """Number what is new in this sight; returns the identity of the change it is as of."""
        drawn = self._draw(sight)
        with self._lock:
            before = self._known
            new = Drawn(
                strip=drawn.strip if drawn.strip != before.strip else "",
                cells={k: v for k, v in drawn.cells.items() if before.cells.get(k) != v},
                news={k: v for k, v in drawn.news.items() if k not in before.news},
            )
            if new.strip or new.cells or new.news:
                self._number += 1
                self._known = drawn
                self._changes.append((self._number, new))
                if self._loop is not None and not self._loop.is_closed():
                    self._loop.call_soon_threadsafe(self._wake)
            return self._identity(self._number)

    def _identity(self, number: int) -> str:
        return f"{self._epoch}-{number}"

    def _wake(self) -> None:
        changed, self._changed = self._changed, asyncio.Event()
        changed.set()

    def _after(self, last: str) -> tuple[str, Drawn] | None:
        """Everything since `last` in one, with its identity; None when that is not known."""
        epoch, _, text = last.partition("-")
        if epoch != self._epoch or not text.isascii() or not text.isdigit():
            return None
        with self._lock:
            number = int(text)
            missed = [new for n, new in self._changes if n > number]
            if self._number - number != len(missed):
                return None
            whole = Drawn(strip="")
            for new in missed:
                whole = Drawn(
                    strip=new.strip or whole.strip,
                    cells=whole.cells | new.cells,
                    news=whole.news | new.news,
                )
            return self._identity(self._number), whole

    async def listen(self, last: str) -> AsyncIterator[str]:
        """Events for one page, from the change it was drawn at; ends when the page closes."""
        self._loop = asyncio.get_running_loop()
        self._listeners += 1
        if self._watching is None or self._watching.done():
            self._alone.clear()
            self._watching = asyncio.create_task(self._watch())
        try:
            yield "retry: 3000\n\n"
            while True:
                changed = self._changed
                found = self._after(last)
                if found is None:
                    yield "event: reload\ndata: {}\n\n"
                    return
                if found[0] != last:
                    last, new = found
                    body = {"strip": new.strip, "cells": new.cells, "news": list(new.news.values())}
                    yield f"id: {last}\nevent: room\ndata: {json.dumps(body)}\n\n"
                    continue
                try:
                    await asyncio.wait_for(changed.wait(), _BEAT_S)
                except TimeoutError:
                    yield ": still here\n\n"  # so that both ends notice a dead line
        finally:
            self._listeners -= 1
            if self._listeners == 0:
                self._alone.set()

    async def _watch(self) -> None:
        """Look at the room after each change while anybody listens, never too often."""
        counter = -1
        while self._listeners:
            seen = await run_in_threadpool(self._live.wait_change, counter, _WAIT_S)
            if not self._listeners:
                return
            # by the clock too: silence and age change without any reading
            counter = seen
            began = time.monotonic()
            await run_in_threadpool(self._look)
            pause = max(_LEAST_PAUSE_S, _SHARE * (time.monotonic() - began))
            with suppress(TimeoutError):
                await asyncio.wait_for(self._alone.wait(), pause)

    def _look(self) -> None:
        self.publish(self._lookout.look())
