"""A neighbour: a second probe of the same quantity in the same tank, held against the first.

QARTOD's neighbour test. The two are compared by a line fitted through an hour of their differences,
never reading by reading, and against how far apart they usually are: one hangs by the heater. Two
alone cannot tell which of them lies; which of them has moved can be said.
"""

from typing import Any

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import FAR_MS, HOUR_MS, MINUTE_MS, span_text
from roewatch.room.quantity import Quantity, shown, shown_difference

_FITTED = 12  # five minutes each
_KNOWN = 72  # so many before their usual difference is known: six hours
_SLOW = 1 / 288  # after a day the usual difference follows as slowly
_STRANGERS = 3  # times as far apart two probes may be that have not been compared yet
COMPARED = frozenset({Quantity.TEMPERATURE, Quantity.PH, Quantity.CONDUCTIVITY, Quantity.OXYGEN})
"""What is one and the same all over a tank; flow, level and light are not."""


class Neighbour:
    """Two probes of one quantity in one tank. usual: how far `other` is above `first`, as a rule.

    agreed: what both said when they last agreed.
    """

    SAVED = ("offs", "usual", "count", "apart_since", "near_since", "agreed")
    __slots__ = (*SAVED, "calibrated", "first", "limits", "other")

    def __init__(self, first: Witness, other: Witness, limits: Limits) -> None:
        self.first, self.other, self.limits = first, other, limits
        self.calibrated = (first.probe.calibrations, other.probe.calibrations)
        self.offs: list[list[Any]] = []  # [end_ms, difference] of the last hour
        self.usual = 0.0
        self.count = 0
        self.apart_since = self.near_since = -1
        self.agreed: list[float] = []

    def same(self, new: "Neighbour") -> bool:
        """Whether these are the same two probes, calibrated as before."""
        return (self.first, self.other, self.calibrated) == (new.first, new.other, new.calibrated)

    def limit(self, value: float) -> float:
        """How far from their usual difference is too far, in the kept unit."""
        limits, quantity = self.limits, self.first.quantity
        if quantity is Quantity.TEMPERATURE:
            least = limits.apart_celsius
        else:
            share = limits.apart_share * abs(value)
            least = limits.apart_ph if quantity is Quantity.PH else share
        return least * (1 if self.count >= _KNOWN else _STRANGERS)

    def bucket(self, tick_ms: int, standing: Standing, out: list[Finding]) -> None:
        """Five more minutes of both, both believed; nothing when one of them is behind."""
        one, two = self.first.buckets[-1:], self.other.buckets[-1:]
        if not one or not two or one[0].end_ms != two[0].end_ms:
            return
        at_ms, value = one[0].end_ms, one[0].value
        if self.offs and self.offs[-1][0] >= at_ms:
            return
        self.offs.append([at_ms, two[0].value - value])
        self.offs = [row for row in self.offs[-_FITTED:] if row[0] > at_ms - HOUR_MS]
        fitted = self._fitted()
        if fitted is None:
            return
        off, limit = fitted - self.usual, self.limit(value)
        if abs(off) > limit:
            self.near_since = -1
            self.apart_since = self.apart_since if self.apart_since >= 0 else at_ms - BUCKET_MS
            if at_ms - self.apart_since >= self.limits.apart_hold_ms:
                self._flag(tick_ms + MINUTE_MS, FAR_MS)
                self._see(at_ms, off, standing, out)
            return
        self.apart_since = -1
        if abs(off) > limit / 2:
            self.near_since = -1
            return
        self.agreed = [value, two[0].value]
        self.near_since = self.near_since if self.near_since >= 0 else at_ms
        if at_ms - self.near_since >= self.limits.apart_hold_ms:
            self._flag(self.first.apart_from, tick_ms + MINUTE_MS)
            self._end(at_ms, standing, out)
        self.count += 1
        self.usual += max(1 / self.count, _SLOW) * off

    def pause(self) -> None:
        """One of them is not believed just now: nothing is compared."""
        self.offs = []
        self.apart_since = self.near_since = -1

    def part(self) -> None:
        """They are compared no more: neither speaks against the other."""
        for witness in (self.first, self.other):
            witness.apart_from, witness.apart_until, witness.changed = FAR_MS, -1, True

    def _flag(self, from_ms: int, until_ms: int) -> None:
        """Let readings of both be suspect between these moments, if they are not so already.

        It begins and ends a minute after the tick, so that the order of readings cannot matter.
        """
        if (self.first.apart_until == FAR_MS) == (until_ms == FAR_MS):
            return
        for witness in (self.first, self.other):
            witness.apart_from, witness.apart_until, witness.changed = from_ms, until_ms, True

    def _fitted(self) -> float | None:
        """Where the line through the last hour's differences ends; None below half an hour."""
        if len(self.offs) < _FITTED // 2:
            return None
        at_ms = [row[0] for row in self.offs]
        values = [row[1] for row in self.offs]
        per_h = fitted_per_h(at_ms, values) or 0.0
        middle_ms = sum(at_ms) / len(at_ms)
        return float(sum(values) / len(values) + per_h * (at_ms[-1] - middle_ms) / HOUR_MS)

    def _see(self, at_ms: int, off: float, standing: Standing, out: list[Finding]) -> None:
        quantity = self.first.quantity
        if not standing.due(at_ms, Kind.PROBES_DISAGREE, quantity, self.other.id):
            return
        now = (self.first.buckets[-1].value, self.other.buckets[-1].value)
        said = (
            f"{self.first.id} says {shown(quantity, now[0])} and {self.other.id} "
            f"{shown(quantity, now[1])}, {shown_difference(quantity, abs(off))} further apart than "
            f"usual for {span_text(at_ms - self.apart_since)}"
        )
        if self.agreed:
            moved = [after - before for after, before in zip(now, self.agreed, strict=True)]
            said += (
                f"; since they last agreed {self.first.id} has gone "
                f"{shown_difference(quantity, moved[0], sign='+')} and {self.other.id} "
                f"{shown_difference(quantity, moved[1], sign='+')}"
            )
        seen = Seen(
            kind=Kind.PROBES_DISAGREE, quantity=quantity, probe=self.other.id,
            since_ms=self.apart_since, value=now[1], message=said, step=self.limit(now[0]),
        )  # fmt: skip
        standing.see(at_ms, seen, out)

    def _end(self, at_ms: int, standing: Standing, out: list[Finding]) -> None:
        if not standing.told:
            return
        quantity = self.first.quantity
        seen = Seen(
            kind=Kind.PROBES_DISAGREE, quantity=quantity, probe=self.other.id, since_ms=at_ms,
            value=self.other.f, message=f"{self.first.id} and {self.other.id} agree again",
        )  # fmt: skip
        standing.end(at_ms, seen, out)

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [getattr(self, name) for name in self.SAVED]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        for name, value in zip(self.SAVED, row, strict=True):
            setattr(self, name, value)
