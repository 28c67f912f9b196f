"""Inferred air: the room's temperature as the cooling of its tanks tells it, where no probe does.

With its heater off a tank falls by what it is above the air over its time constant. Turned round,
each fall says where the air is; how long a tank of such litres holds its warmth is known only
roughly, so the tanks' middle sets the level and each tank's own constant is learned against it.
"""

from collections.abc import Sequence
from math import exp, log, sqrt
from statistics import median
from typing import Any, NamedTuple

from roewatch.judging.heat import Heat
from roewatch.judging.testimony import BUCKET_MS
from roewatch.room.moment import HOUR_MS
from roewatch.room.tank import Tank

_TANKS = 3  # fewer say nothing of the room
_LEARNED = 4  # falls of a tank before it counts
_KEPT = 16
_FRESH_MS, _STALE_MS = int(2.5 * HOUR_MS), 6 * HOUR_MS
_GLASS = 1.18  # glass and substrate hold warmth too
_LOOK = 12  # five minutes between the two ends of a fall under way
_UNSURE = 0.15  # by how much of itself a tank's constant is off from what its litres say, at least
_COMMON = 0.2  # … and by how much those of one room may be off together: lids, filters, draughts
_LEAST_SPREAD = 0.3  # °C


class Loss(NamedTuple):
    """One fall: its middle moment, its middle temperature, °C, and how fast it went, °C/h."""

    at_ms: int
    celsius: float
    per_h: float


def usual_time_constant_h(tank: Tank) -> float:
    """How long a tank of such litres holds its warmth, hours; common glass, standing free.

    Source: heat losses worked out in the shared trade notes, 10 to 60 L, water alone: covered 6.5,
    8.2, 9.5, 10.3, 11.5 h for 10, 20, 30, 40, 60 L; open 3.7, 4.5, 5.4, 5.8, 6.9 h. Fitted here
    by powers within 3 %, with 18 % added for glass and substrate (an assumption).
    """
    at_ten, power = (6.5, 0.325) if tank.covered else (3.6, 0.35)
    return _GLASS * at_ten * float((tank.litres / 10) ** power)


class InferredAir:
    """The room's air from its tanks. `celsius` and `spread` are None until enough is learned.

    celsius: °C. spread: half the range, °C, in which the air lies nine times of ten.
    """

    SAVED = ("celsius", "spread", "tanks", "own", "learned_ms")
    __slots__ = (*SAVED, "_heats", "_middles")

    def __init__(self) -> None:
        self.celsius: float | None = None
        self.spread: float | None = None
        self.tanks = 0  # how many it was told by
        self.own: dict[str, list[float]] = {}  # each tank's constant over the usual one, logarithms
        self.learned_ms: dict[str, int] = {}  # which fall was last learned from
        self._middles: dict[str, float] = {}  # the middle of each tank's constants
        self._heats: Sequence[Heat] = ()  # whose they are

    def look(self, tick_ms: int, heats: Sequence[Heat]) -> None:
        """One more look at all heated tanks, every five minutes."""
        if heats is not self._heats:
            self._settle(heats)
        falls = [(heat.tank, loss) for heat in heats if (loss := _loss(heat, tick_ms)) is not None]
        known = [f for f in falls if len(self.own.get(f[0].id, ())) >= _LEARNED]
        ready = len(known) >= _TANKS
        using = known if ready else falls
        fresh = [f for f in using if tick_ms - f[1].at_ms <= _FRESH_MS]
        using = fresh if len(fresh) >= _TANKS else using
        self.celsius = self.spread = None
        if len(using) < _TANKS:
            return
        middle = median(self._middles.values() or [0.0])
        told = [
            loss.celsius
            - loss.per_h
            * usual_time_constant_h(tank)
            * exp(self._middles.get(tank.id, 0.0) - middle)
            for tank, loss in using
        ]
        air = median(told)
        for tank, loss in falls:
            self._learn(tank, loss, air)
        if ready:
            self.celsius, self.tanks = air, len(using)
            over = median(loss.celsius - air for _, loss in using)
            self.spread = self._spread(told, air, over)

    def _settle(self, heats: Sequence[Heat]) -> None:
        """Go by these tanks from now on."""
        self._heats = heats
        self.own = {heat.tank.id: own for heat in heats if (own := self.own.get(heat.tank.id))}
        self._middles = {tank: median(own) for tank, own in self.own.items()}

    def _learn(self, tank: Tank, loss: Loss, air: float) -> None:
        """How this tank's constant compares with the usual one; once for every fall or hour."""
        if loss.at_ms - self.learned_ms.get(tank.id, -HOUR_MS) < HOUR_MS or loss.celsius - air < 1:
            return
        self.learned_ms[tank.id] = loss.at_ms
        ratio = (loss.celsius - air) / loss.per_h / usual_time_constant_h(tank)
        self.own[tank.id] = [*self.own.get(tank.id, [])[1 - _KEPT :], log(ratio)]
        self._middles[tank.id] = median(self.own[tank.id])

    def _spread(self, told: list[float], air: float, over: float) -> float:
        """From how the tanks disagree, and how many there are to set the level."""
        apart = 1.4826 * median(abs(one - air) for one in told)
        own = self._middles.values()
        middle = median(own)  # once: over all tanks it would cost their number squared
        usual = max(1.4826 * median(abs(one - middle) for one in own), _UNSURE)
        level = max(over, 1.0) * sqrt(usual * usual / len(own) + _COMMON * _COMMON)
        return max(1.645 * sqrt(apart * apart / len(told) + level * level), _LEAST_SPREAD)

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [getattr(self, name) for name in self.SAVED]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        for name, value in zip(self.SAVED, row, strict=True):
            setattr(self, name, value)
        self._heats = ()


def _loss(heat: Heat, tick_ms: int) -> Loss | None:
    """How fast the tank cools with its heater off: now, if it does for long, else lately."""
    cycle, buckets = heat.cycle, heat.witness.buckets
    if not cycle.known or tick_ms - heat.witness.f_at > 3 * BUCKET_MS:
        return None
    last = cycle.falls[-1]
    under_way = cycle.direction < 0 and cycle.turned is not None
    long = under_way and tick_ms - cycle.turned_ms > (_LOOK + 4) * BUCKET_MS
    # a tank is always judged by the same sort of fall, for the glass makes their starts quicker
    if long and (cycle.off_ms > (_LOOK + 8) * BUCKET_MS or tick_ms - last.end_ms > 3 * HOUR_MS):
        now, then = buckets[-3:], buckets[-3 - _LOOK : -_LOOK]
        if len(then) == 3 and now[0].end_ms - then[0].end_ms == _LOOK * BUCKET_MS:
            first, later = (median(b.value for b in three) for three in (then, now))
            per_h = (first - later) * HOUR_MS / (_LOOK * BUCKET_MS)
            at_ms = now[1].end_ms - _LOOK * BUCKET_MS // 2
            return Loss(at_ms, (first + later) / 2, per_h) if per_h > 0.02 else None
    if last.middle is None or tick_ms - last.end_ms > _STALE_MS:
        return None
    return Loss(last.end_ms - last.span_ms // 2, last.middle, last.per_h)
