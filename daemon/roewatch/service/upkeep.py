"""Upkeep: what the store needs besides new readings, done in slices between them.

Packing ripe days, letting go of what is past its keeping, giving up what can be rebuilt when the
disk runs out, looking whether packed days still are what was written. A slice is bounded, and
while readings stream there is at most one a second, so that keeping is never held up for longer
than one slice.
"""

import logging
import shutil
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from roewatch.room.kind import Kind
from roewatch.room.tank import Probe
from roewatch.service.settings.setup import Storage
from roewatch.storage.store import Store

log = logging.getLogger(__name__)

SLICE_EVERY_S = 1.0
REST_S = 600.0
LOOK_EVERY_S = 60.0
_MB = 1_000_000
_ROOMY = 1.2  # so much more than the least free, before the alarm is over
_MANY_DAYS = 100


Probes = Callable[[], Sequence[Probe]]


class Own(Protocol):
    """Raises an alarm about the program itself, or ends it when it is not `present`."""

    def __call__(self, kind: Kind, message: str, *, present: bool) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """What upkeep works with. free_mb: room on the store's disk; damaged: files set aside."""

    own: Own
    now_ms: Callable[[], int]
    free_mb: Callable[[], int]
    damaged: Callable[[], list[Path]]
    monotonic: Callable[[], float] = time.monotonic


class Upkeep:
    """Call it at every round of the watch, by the thread that owns the store."""

    def __init__(self, store: Store, storage: Storage, probes: Probes, hands: Hands):
        self._store = store
        self._storage = storage
        self._probes = probes
        self._hands = hands
        self._slice_s = self._look_s = self._rest_s = 0.0
        self._short = False
        self._shed = False
        self._damaged: list[str] = []

    def __call__(self, idle: bool) -> None:
        """Do a slice if it is time for one. idle: no message waits just now."""
        now_s = self._hands.monotonic()
        if now_s >= self._look_s:
            self._look_s = now_s + LOOK_EVERY_S
            self._look()
        if now_s < self._rest_s or (not idle and now_s < self._slice_s):
            return
        if self._slice():
            self._slice_s = self._hands.monotonic() + SLICE_EVERY_S
        else:
            self._rest_s = now_s + REST_S

    def _slice(self) -> int:
        """One bounded piece of work; 0 when there is none left."""
        now_ms = self._hands.now_ms()
        if self._short and (shed := self._store.shed(_MANY_DAYS)):
            if not self._shed:
                log.warning(
                    "store_sheds what=minute roll-ups; they are made again when there is room"
                )
            self._shed = True
            return shed
        if packed := self._store.pack_some(now_ms, hot_ms=self._storage.hot_ms):
            return packed
        before_ms = self._storage.let_go_ms(self._probes(), now_ms)
        if before_ms and (gone := self._store.let_go(before_ms, _MANY_DAYS)):
            return gone
        if self._shed and not self._short:
            made = self._store.rebuild()
            self._shed = made > 0
            return made
        return 0

    def _look(self) -> None:
        least, free = self._storage.least_free_mb, self._hands.free_mb()
        short = free < (least * _ROOMY if self._short else least)
        if short and not self._short:
            self._rest_s = 0.0  # there is something to shed now
        self._short = short
        said = f"{free} MB free where the readings are kept, {least} MB are wanted"
        self._hands.own(Kind.STORE_NEARLY_FULL, said, present=short)
        self._damaged += self._store.check_some()
        said = _of_damage(self._hands.damaged(), self._damaged)
        self._hands.own(Kind.STORE_DAMAGED, said or SOUND, present=bool(said))


SOUND = "no damaged store lies beside the running one any more, and its days are sound"


def _of_damage(aside: Sequence[Path], days: Sequence[str]) -> str:
    """What is damaged, in words; empty when nothing is. days: told until the next start."""
    told = []
    if aside:
        told.append(
            f"a damaged store lies at {aside[-1]}: salvage or restore, then move that file away"
        )
    if days:
        more = f" and {len(days) - 1} more" if len(days) > 1 else ""
        told.append(f"the disk may be failing, a packed day is damaged: {days[0]}{more}")
    return "; ".join(told)


def hands_of(path: Path, own: Own, now_ms: Callable[[], int]) -> Hands:
    """Those for the store at `path`."""
    return Hands(
        own=own, now_ms=now_ms, free_mb=lambda: free_mb(path), damaged=lambda: set_aside(path)
    )


def free_mb(path: Path) -> int:
    """Room on the disk that holds `path`, as its owner may use it."""
    return shutil.disk_usage(path.parent).free // _MB


def set_aside(path: Path) -> list[Path]:
    """Damaged stores that lie beside `path`, the oldest first."""
    found = path.parent.glob(f"{path.name}.damaged-*")
    return sorted(p for p in found if not p.name.endswith((".txt", "-wal", "-shm")))
