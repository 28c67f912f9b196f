"""The mirror: everything kept here is shipped to a time-series store elsewhere, and kept equal.

It has its own thread, reads beside the writer, and remembers how far it is *sure*. A target may
say yes to readings and lose them when it dies a moment later, so the position that is saved trails
what was sent by a margin; after a failure, a restart of either side, or a new connection (the
target may have restarted between two batches), everything since the saved position is sent again.
Before it moves the position it looks whether the target is still there over the same connection: in
a quiet hour nothing else would tell of a restart.
Targets keep one reading per moment, so a repeat changes nothing there.

Positions: by probe `probe:<id>`, the moment up to which it was shipped in order; `late`, the last
span shipped again because readings came or were put right behind; `changes`, `journal` and
`broods`, rows.
"""

import logging
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from threading import Event as Flag
from time import monotonic
from typing import NamedTuple

from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Probe
from roewatch.storage.day import Cells
from roewatch.storage.hot import LATEST_MS
from roewatch.storage.line import Event, event_of_change, event_of_entry, event_of_record
from roewatch.storage.manifest import Manifest
from roewatch.storage.reader import Records
from roewatch.storage.target import Target, TargetDownError
from roewatch.storage.trouble import DamagedDayError

_log = logging.getLogger(__name__)

_EVENTS = 500
_SPANS = 100
_LONGEST_WAIT_S = 60.0
_RESTLESS = 5  # new connections in a row that show a target which closes every one


class Difference(NamedTuple):
    """A probe's day (since 1970, UTC) with another count of readings here than there."""

    probe: str
    day: int
    here: int
    there: int


class _Span(NamedTuple):
    """Readings of one probe to be shipped again; number: its row in `late`, or 0."""

    number: int
    probe: str
    from_ms: int
    to_ms: int


class Mirror:
    """Used by one thread, except `again`, which any may call."""

    def __init__(
        self,
        records: Records,
        target: Target,
        probes: Sequence[Probe],
        save: Callable[[Mapping[str, int]], None],
        *,
        margin_s: float = 30,
        batch: int = 10_000,
    ) -> None:
        """save: has `Store.mirrored` called by the store's own thread, and returns when it was.

        margin_s: how long a target may need to put on disk what it has said yes to; for
        VictoriaMetrics and InfluxDB a few seconds. batch: readings in one request.
        """
        self._records, self._target, self._save = records, target, save
        self._manifest = Manifest(records)
        self._probes = {probe.id: probe for probe in probes}
        self._turn = list(self._probes)
        self._margin_s, self._batch = margin_s, batch
        self._sure: dict[str, int] = {}
        self._sent: dict[str, int] = {}
        self._unsure: deque[tuple[float, dict[str, int]]] = deque()
        self._again: deque[_Span] = deque()
        self._left: _Span | None = None
        self._told: set[int] = set()
        self._begun = False
        self._restless = 0

    # one batch

    def step(self) -> int:
        """Ship one batch; returns how many readings and events, at least 1 while there may be more.

        Raises TargetDownError when the target did not take it; it will be sent again.
        """
        if not self._begun:
            self._begin()
        if self._ripe() and not self._lives(self._target.look):
            return 1
        self._settle()
        readings, events, after = self._gathered()
        if not (readings or events or after):
            return 0
        shipped = sum(len(cells.at_ms) for _, cells in readings) + len(events)
        if (readings or events) and not self._lives(lambda: self._target.take(readings, events)):
            return max(1, shipped)
        self._sent |= after
        self._unsure.append((monotonic(), after))
        return max(1, shipped)

    def _begin(self) -> None:
        self._sure = self._manifest.mirrored()
        if "late" not in self._sure:
            # before the first reading is read: from here on, late ones are noted for us
            self._sure["late"] = 0
            self._save({"late": 0})
        self._sent = dict(self._sure)
        self._begun = True

    def _lives(self, ask: Callable[[], None]) -> bool:
        """Ask the target; False when it may have been restarted, and all unsure goes out again."""
        connections = self._target.connections
        try:
            ask()
        except TargetDownError:
            self._fall_back()
            raise
        if self._reconnected(connections) and self._unsure:
            _log.info("mirror_reconnected batches_sent_again=%d", len(self._unsure))
            self._fall_back()
            return False
        return True

    def _ripe(self) -> bool:
        """Whether something was sent so long ago that it is safe, if the target lived since."""
        return bool(self._unsure) and self._unsure[0][0] <= monotonic() - self._margin_s

    def _settle(self) -> None:
        """Be sure of what was sent longer ago than the margin, and have that saved."""
        sure: dict[str, int] = {}
        until = monotonic() - self._margin_s
        while self._unsure and self._unsure[0][0] <= until:
            sure |= self._unsure.popleft()[1]
        if sure:
            self._save(sure)
            self._sure |= sure

    def _fall_back(self) -> None:
        self._sent = dict(self._sure)
        self._unsure.clear()
        self._left = None

    def _reconnected(self, before: int) -> bool:
        if before in (self._target.connections, 0):
            self._restless = 0
            return False
        self._restless += 1
        # a proxy that closes each connection would otherwise have us start over for ever
        return self._restless < _RESTLESS

    def _gathered(self) -> tuple[list[tuple[Probe, Cells]], list[Event], dict[str, int]]:
        """The next batch, and the positions once it was taken."""
        after: dict[str, int] = {}
        readings = self._late(after)
        room = self._batch - sum(len(cells.at_ms) for _, cells in readings)
        for _ in range(len(self._turn)):
            if room <= 0:
                break
            name = self._turn[0]
            key = f"probe:{name}"
            try:
                cells = self._next(name, self._sent.get(key, -1) + 1, LATEST_MS, room)
            except DamagedDayError as error:
                cells = None
                self._tell(error)
            if cells is not None:
                readings.append((self._probes[name], cells))
                after[key] = cells.at_ms[-1]
                room -= len(cells.at_ms)
            self._turn.append(self._turn.pop(0))
        return readings, self._events(after), after

    def _late(self, after: dict[str, int]) -> list[tuple[Probe, Cells]]:
        """Readings of spans to be shipped again, as far as they are behind their probe's position.

        What is ahead of it is shipped in its turn. A long span is taken up where it was left.
        """
        room = self._batch
        readings: list[tuple[Probe, Cells]] = []
        for span in self._spans():
            end_ms = min(span.to_ms, self._sent.get(f"probe:{span.probe}", -1) + 1)
            from_ms = span.from_ms
            while span.probe in self._probes and from_ms < end_ms:
                if room <= 0:
                    self._left = span._replace(from_ms=from_ms)
                    return readings
                try:
                    cells = self._next(span.probe, from_ms, end_ms, room)
                except DamagedDayError as error:
                    self._tell(error)
                    return readings
                if cells is None:
                    break
                readings.append((self._probes[span.probe], cells))
                room -= len(cells.at_ms)
                from_ms = cells.at_ms[-1] + 1
            if span.number:
                after["late"] = span.number
        return readings

    def _next(self, probe: str, from_ms: int, to_ms: int, at_most: int) -> Cells | None:
        return next(self._records.chunks(probe, from_ms, to_ms, at_most), None)

    def _tell(self, error: DamagedDayError) -> None:
        # nothing is skipped: it is waited for until the writer has moved that day out of the way
        if error.slot not in self._told:
            self._told.add(error.slot)
            _log.error("mirror_waits_for_a_damaged_day error=%r", str(error))

    def _spans(self) -> Iterator[_Span]:
        left, self._left = self._left, None
        number = self._sent.get("late", 0)
        if left is not None:
            yield left
            number = max(number, left.number)
        if self._again:
            yield self._again.popleft()
        for row, probe, first_ms, last_ms in self._manifest.late_after(number, _SPANS):
            yield _Span(row, probe, first_ms, last_ms + 1)

    def _events(self, after: dict[str, int]) -> list[Event]:
        changes = self._manifest.changes_after(self._sent.get("changes", 0), _EVENTS)
        journal = self._manifest.journal_after(self._sent.get("journal", 0), _EVENTS)
        broods = self._manifest.broods_after(self._sent.get("broods", 0), _EVENTS)
        if changes:
            after["changes"] = changes[-1][0]
        if journal:
            after["journal"] = journal[-1][0]
        if broods:
            after["broods"] = broods[-1][0]
        told = [event_of_change(*change) for change in changes]
        told += [event_of_entry(*entry) for entry in journal]
        return told + [event_of_record(*record) for record in broods]

    # the thread

    def run(self, stop: Flag, *, every_s: float = 10, first_wait_s: float = 1) -> None:
        """Ship until `stop` is set; waits `every_s` when there is no more.

        When the target is down it waits `first_wait_s`, then twice as long each time, to a minute.
        """
        wait_s, failures = 0.0, 0
        while not stop.wait(wait_s):
            try:
                shipped = self.step()
            except TargetDownError as error:
                failures += 1
                if failures == 1:
                    _log.warning("mirror_down error=%r", str(error))
                wait_s = min(_LONGEST_WAIT_S, first_wait_s * 2 ** min(failures - 1, 10))
                continue
            if failures:
                _log.info("mirror_up_again failures=%d", failures)
                failures = 0
            wait_s = 0.0 if shipped else every_s

    # how it stands

    def behind(self) -> int:
        """How many readings are still to be shipped in order; a packed day counts whole."""
        sent = {k.removeprefix("probe:"): at for k, at in self._sent.items() if ":" in k}
        return self._manifest.behind(sent)

    def again(self, probe: str, from_ms: int, to_ms: int) -> None:
        """Ship the readings of that span once more."""
        self._again.append(_Span(0, probe, from_ms, to_ms))

    def send_again(self, differences: Iterable[Difference]) -> None:
        """Ship each differing day once more."""
        for difference in differences:
            day = difference.day
            self.again(difference.probe, day * DAY_MS, (day + 1) * DAY_MS)


def compare(
    records: Records, target: Target, probes: Sequence[Probe], days: Iterable[int]
) -> list[Difference]:
    """Each probe's day of which the target holds another count of readings.

    A day that seems to differ is read back whole, so that repeats a target has not merged yet do
    not count. Raises TargetDownError.
    """
    manifest = Manifest(records)
    differences = []
    for day in days:
        here, there = manifest.day_counts(day), target.counts(day)
        for probe in probes:
            ours, theirs = here.get(probe.id, 0), there.get(probe.id, 0)
            if ours != theirs:
                theirs = len(target.read(probe, day * DAY_MS, (day + 1) * DAY_MS).at_ms)
            if ours != theirs:
                differences.append(Difference(probe.id, day, ours, theirs))
    return differences
