"""Alike: unheated tanks of one room follow the same air, so a thermometer that does not is odd.

QARTOD's neighbour test for tanks with one thermometer only. What is compared is how far each has
gone within four hours, against the middle of the others and against how far it usually goes astray,
for a large tank lags behind a small one. With a heater every tank goes its own way and nothing is
compared. It makes readings suspect and never an alarm: the water may be what is odd.
"""

from collections.abc import Container
from statistics import fmean, median
from typing import Any

from roewatch.judging.limits import Limits
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import Witness
from roewatch.room.moment import FAR_MS, HOUR_MS, MINUTE_MS

_SPAN = 48  # five minutes each: four hours
_ENDS = 6  # so many are averaged at either end
_LEAST = 4  # fewer tanks than this say nothing of one another
_KNOWN = 72  # looks an hour apart before a tank's usual way is known: three days
_TIMES = 3  # its usual way


class Alike:
    """The room's unheated tanks, looked at once an hour.

    tanks: their thermometers. usual: [mean distance, looks], by probe.
    """

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.tanks: list[Witness] = []
        self.hour = -1
        self.usual: dict[str, list[Any]] = {}

    def settle(self, tanks: list[Witness]) -> None:
        """Compare these from now on; who is compared no more is not suspect for it either."""
        staying = {witness.id for witness in tanks}
        for witness in self.tanks:
            if witness.id not in staying:
                _flag(witness, 0, odd=False)
        self.tanks = tanks
        self.usual = {probe: usual for probe, usual in self.usual.items() if probe in staying}

    def due(self, tick_ms: int) -> bool:
        """Whether there is anything to compare and an hour has gone by."""
        return len(self.tanks) >= _LEAST and tick_ms // HOUR_MS != self.hour

    def judge(self, tick_ms: int, explained: Container[str]) -> None:
        """One more look. explained: probes of whose tanks something else is known just now."""
        self.hour = tick_ms // HOUR_MS
        gone = {w.id: _gone(w, tick_ms) for w in self.tanks if w.id not in explained}
        known = {probe: change for probe, change in gone.items() if change is not None}
        for witness in self.tanks:
            mine = known.get(witness.id)
            if mine is None or len(known) < _LEAST:
                _flag(witness, tick_ms, odd=False)
                continue
            others = median(change for probe, change in known.items() if probe != witness.id)
            astray = abs(mine - others)
            usual = self.usual.setdefault(witness.id, [0.0, 0])
            limit = max(self.limits.astray_celsius, _TIMES * usual[0])
            _flag(witness, tick_ms, odd=usual[1] >= _KNOWN and astray > limit)
            usual[1] += 1
            usual[0] += max(1 / usual[1], 1 / _KNOWN) * (min(astray, limit) - usual[0])

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [self.hour, self.usual]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        self.hour, self.usual = row


def _flag(witness: Witness, tick_ms: int, *, odd: bool) -> None:
    """Let its readings be suspect, or no more, from a minute after the tick."""
    if odd == (witness.apart_until == FAR_MS):
        return
    if odd:
        witness.apart_from, witness.apart_until = tick_ms + MINUTE_MS, FAR_MS
    else:
        witness.apart_until = tick_ms + MINUTE_MS
    witness.changed = True


def _gone(witness: Witness, tick_ms: int) -> float | None:
    """How far it has gone within the last four hours; None with a hole in them."""
    buckets = witness.buckets[-_SPAN:]
    if len(buckets) < _SPAN or buckets[-1].end_ms - buckets[0].end_ms >= _SPAN * BUCKET_MS:
        return None
    if tick_ms - buckets[-1].end_ms > 3 * BUCKET_MS:
        return None
    last, first = buckets[-_ENDS:], buckets[:_ENDS]
    return fmean(b.value for b in last) - fmean(b.value for b in first)
