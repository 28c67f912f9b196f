"""Derived readings: what no probe measures, worked out as the probes' readings come in.

A derived series stands on a grid of its own spacing. Its value at a grid moment is made of the
newest believed readings at or before that moment, and only once readings still on their way have
had their time: as long as the judge waits before a tick. So live, restart and replay derive the
same, however the readings of different probes were interleaved.
"""

import heapq
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from roewatch.room.measured import carbonate_hardness
from roewatch.room.moment import FAR_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.tank import ROOM, Probe, Room
from roewatch.water import dioxide
from roewatch.water.derived import NEEDS, STALE_MS, WaterFacts, derive

PREFIX = "derived/"
_KEPT_BEFORE = 3  # believed readings before the settled moment: one may yet be taken back
_USED_IF_THERE = {Quantity.OXYGEN_PERCENT: (Quantity.CONDUCTIVITY,)}
_STALE_AFTER_DUE = 2  # an input that speaks once an hour is not stale after a quarter of one


def derived_probes(probes: Sequence[Probe], facts: Mapping[str, WaterFacts]) -> tuple[Probe, ...]:
    """A probe without a sensor for every quantity that can be worked out on a tank.

    facts: by tank. None where a real probe measures that quantity, and no CO2 where the guards of
    the sum would refuse it always. As often as the slowest input it needs.
    """
    taken = {probe.id for probe in probes}
    by_tank: dict[str, dict[Quantity, Probe]] = {}
    for probe in probes:
        if probe.tank != ROOM:
            by_tank.setdefault(probe.tank, {}).setdefault(probe.quantity, probe)
    found = []
    for tank, measured in by_tank.items():
        for quantity, needs in NEEDS.items():
            if quantity in measured or any(need not in measured for need in needs):
                continue
            if quantity is Quantity.DIOXIDE and why_no_dioxide(facts.get(tank, WaterFacts())):
                continue
            name = f"{tank}-{quantity}".lower()
            found.append(
                Probe(
                    id=f"{name}-derived" if name in taken else name,
                    tank=tank,
                    quantity=quantity,
                    every_ms=max(measured[need].every_ms for need in needs),
                    derived=True,
                )
            )
    return tuple(found)


def why_no_dioxide(facts: WaterFacts) -> str:
    """Why CO2 cannot be told from pH and KH with these facts, whatever the pH; empty if it can."""
    if facts.dkh is None:
        return "its carbonate hardness is not known"
    if facts.tannin or facts.phosphate:
        return f"with {'tannin' if facts.tannin else 'phosphate'} a KH kit misleads"
    if facts.dkh < dioxide.LEAST_DKH:
        return f"below {carbonate_hardness(dioxide.LEAST_DKH)} the sum cannot be trusted"
    return ""


class _Input:
    """One probe others are derived from. seen: [at_ms, value, taken back at_ms] in order."""

    def __init__(self, probe: Probe) -> None:
        self.stale_ms = max(STALE_MS, _STALE_AFTER_DUE * probe.every_ms)
        self.seen: list[list[Any]] = []
        self.series: list[_Series] = []

    def hear(self, at_ms: int, value: float, settled_ms: int) -> None:
        seen = self.seen
        if seen and at_ms <= seen[-1][0]:
            return
        seen.append([at_ms, value, FAR_MS])
        while len(seen) > _KEPT_BEFORE and seen[_KEPT_BEFORE][0] <= settled_ms:
            del seen[0]

    def take_back(self, at_ms: int, from_ms: int) -> None:
        """The reading of `at_ms` is no longer believed, which showed at `from_ms`."""
        for entry in self.seen:
            if entry[0] == at_ms:
                entry[2] = from_ms

    def at(self, at_ms: int) -> float | None:
        """Its value at that moment, None when nothing fresh was believed then."""
        for seen_ms, value, taken_back_ms in reversed(self.seen):
            if seen_ms <= at_ms < taken_back_ms:
                return float(value) if at_ms - seen_ms <= self.stale_ms else None
        return None


class _Series:
    """One derived series. done_ms: what lies at or before it is not worked out again."""

    def __init__(self, probe: Probe, facts: WaterFacts, place: int) -> None:
        self.probe = probe
        # only CO2 asks for the hardness: the others need not work it out besides
        self.facts = facts if probe.quantity is Quantity.DIOXIDE else replace(facts, dkh=None)
        self.place = place
        self.done_ms = -1
        self.pending: set[int] = set()
        self.inputs: dict[Quantity, list[_Input]] = {}

    def value(self, at_ms: int) -> float | None:
        """What it is at that moment, None when it cannot be told."""
        now: dict[Quantity, tuple[int, float]] = {}
        for quantity, inputs in self.inputs.items():
            for heard in inputs:  # the first of several probes that can be believed
                value = heard.at(at_ms)
                if value is not None:
                    now[quantity] = (at_ms, value)
                    break
        quantity = self.probe.quantity
        value = derive(now, at_ms=at_ms, facts=self.facts).values.get(quantity)
        return None if value is None else round(value, KEPT[quantity].digits + 2)


class Deriver:
    """Readings of a room go in, derived readings come out. Not for two threads at once.

    wake_ms: before a reading of this moment or later is judged, `due` has something to say.
    """

    def __init__(
        self, room: Room, facts: Mapping[str, WaterFacts] | None = None, *, settle_ms: int
    ) -> None:
        self.settle_ms = settle_ms
        self.wake_ms = FAR_MS
        self._heap: list[tuple[int, int]] = []
        self._inputs: dict[str, _Input] = {}
        self._series: dict[str, _Series] = {}
        self._list: list[_Series] = []
        self._changed: set[str] = set()
        self._tank_of: dict[str, str] = {}
        self._by_tank: dict[str, tuple[list[_Series], dict[str, _Input]]] = {}
        known = facts or {}
        beside: dict[str, list[Probe]] = {}
        for probe in room.probes:
            beside.setdefault(probe.tank, []).append(probe)
        for probe in room.probes:
            if probe.derived:
                series = _Series(probe, known.get(probe.tank, WaterFacts()), len(self._list))
                self._series[probe.id] = series
                self._list.append(series)
                self._by_tank.setdefault(probe.tank, ([], {}))[0].append(series)
                self._connect(series, beside[probe.tank])

    def _connect(self, series: _Series, measured: Sequence[Probe]) -> None:
        quantity = series.probe.quantity
        needs = (*NEEDS[quantity], *_USED_IF_THERE.get(quantity, ()))
        for probe in measured:
            if probe.derived or probe.quantity not in needs:
                continue
            heard = self._inputs.setdefault(probe.id, _Input(probe))
            heard.series.append(series)
            series.inputs.setdefault(probe.quantity, []).append(heard)
            self._tank_of[probe.id] = probe.tank
            self._by_tank[probe.tank][1][probe.id] = heard

    def due(self, to_ms: int) -> Iterator[Reading]:
        """Derived readings that nothing dated `to_ms` or later can change any more, in order."""
        until_ms = to_ms - self.settle_ms
        heap = self._heap
        while heap and heap[0][0] <= until_ms:
            at_ms, place = heapq.heappop(heap)
            self.wake_ms = heap[0][0] + self.settle_ms if heap else FAR_MS
            series = self._list[place]
            series.pending.discard(at_ms)
            self._changed.add(series.probe.tank)
            if at_ms <= series.done_ms:
                continue
            series.done_ms = at_ms
            value = series.value(at_ms)
            if value is not None:
                yield Reading(series.probe.id, at_ms, value)

    def hear(self, flagged: Flagged, revised: Flagged | None) -> None:
        """Take a judged reading, and what it showed of the one before; only good ones count."""
        heard = self._inputs.get(flagged.probe)
        if heard is None:
            series = self._series.get(flagged.probe)
            if series is not None and flagged.at_ms > series.done_ms:
                series.done_ms = flagged.at_ms  # kept before a restart, or recorded
                self._changed.add(series.probe.tank)
            return
        at_ms = flagged.at_ms
        self._changed.add(self._tank_of[flagged.probe])
        if revised is not None and revised.flag is not Flag.GOOD:
            heard.take_back(revised.at_ms, at_ms)
        if flagged.flag is not Flag.GOOD:
            return
        heard.hear(at_ms, flagged.value, at_ms - self.settle_ms)
        for series in heard.series:
            every_ms = series.probe.every_ms
            self._await(series, -(-at_ms // every_ms) * every_ms)

    def _await(self, series: _Series, at_ms: int) -> None:
        if at_ms <= series.done_ms or at_ms in series.pending:
            return
        series.pending.add(at_ms)
        heapq.heappush(self._heap, (at_ms, series.place))
        self.wake_ms = self._heap[0][0] + self.settle_ms

    # -- restart ---------------------------------------------------------------------------------

    def changed_states(self) -> dict[str, str]:
        """What changed since the last call, as JSON texts by key; kept together they restore."""
        states = {}
        for tank in self._changed:
            series, inputs = self._by_tank[tank]
            waiting = {one.probe.id: [one.done_ms, sorted(one.pending)] for one in series}
            seen = {probe: heard.seen for probe, heard in inputs.items()}
            states[PREFIX + tank] = json.dumps([waiting, seen], separators=(",", ":"))
        self._changed.clear()
        return states

    def restore(self, states: Mapping[str, str]) -> list[str]:
        """Take over saved states; the keys of those that could not be read, which start fresh."""
        lost = []
        for key, text in states.items():
            if not key.startswith(PREFIX):
                continue
            try:
                waiting, seen = json.loads(text)
                known = {
                    probe: [[int(at), float(value), int(back)] for at, value, back in entries]
                    for probe, entries in seen.items()
                }
                moments = {
                    probe: (int(done), [int(at) for at in pending])
                    for probe, (done, pending) in waiting.items()
                }
            except (ValueError, TypeError, AttributeError):
                lost.append(key)
                continue
            for probe, entries in known.items():
                if probe in self._inputs:
                    self._inputs[probe].seen = entries
            for probe, (done_ms, pending) in moments.items():
                if probe in self._series:
                    self._series[probe].done_ms = done_ms
                    for at_ms in pending:
                        self._await(self._series[probe], at_ms)
        return lost
