"""A cycle: how a tank's thermostat has been switching, learned from the turns of the water.

A zigzag over five-minute medians finds each peak and trough; the legs between them give the switch
points, how fast the water cools with the heater off and warms with it on. What was learned follows
the keeper's hand: only the latest legs count.
"""

from collections.abc import Sequence
from math import sqrt
from statistics import median
from typing import Any, Final, NamedTuple

from roewatch.judging.limits import Limits
from roewatch.judging.slope import fitted_per_h
from roewatch.judging.testimony import Bucket
from roewatch.room.moment import HOUR_MS, MINUTE_MS

KEPT_TURNS: Final = 16
_FIRST_TURN: Final = 0.15  # °C a reversal must have before the swing is known
_FOOT: Final = 0.15  # between these shares of a rise its rate is taken
_TOP: Final = 0.9
# how far healthy legs scatter about their median, before a tank has shown its own
_SCATTER: Final = 0.12
_SCATTER_LEGS: Final = 4  # that guess weighs as much as so many legs


class Leg:
    """One fall or rise between two turns.

    per_h: °C/h, always positive. over_room: °C the middle of the leg was above the room, or None.
    middle: °C half way; None for a leg kept by an older program.
    """

    __slots__ = ("end_ms", "middle", "over_room", "per_h", "span_ms")

    def __init__(
        self, end_ms: int, span_ms: int, per_h: float, over_room: float | None,
        middle: float | None = None,
    ) -> None:  # fmt: skip
        self.end_ms, self.span_ms = end_ms, span_ms
        self.per_h, self.over_room, self.middle = per_h, over_room, middle

    def dump(self) -> list[Any]:
        return [self.end_ms, self.span_ms, self.per_h, self.over_room, self.middle]


class Turn(NamedTuple):
    """The water turned: at a peak, or at a trough. leg: the leg before it, if known."""

    is_peak: bool
    at_ms: int
    value: float
    leg: Leg | None


class Cycle:
    """The thermostat as learned so far. Temperatures °C, rates °C/h.

    known: enough cycles were seen to speak of switch points and rates; banded: of switch points at
    least. power: what the heater alone would give. peak_ms, trough_ms: the last seen, -1 for none.
    """

    __slots__ = (
        "banded", "direction", "extreme", "extreme_ms", "fall", "fall_over_room", "falls", "known",
        "limits", "lower", "lower_min", "off_ms", "on_ms", "peak_ms", "peaks", "period_ms", "power",
        "rise", "rise_over_room", "rises", "room", "room_extreme", "room_turned", "swing",
        "trough_ms", "troughs", "turned", "turned_ms", "upper", "upper_max",
    )  # fmt: skip

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.direction = 0  # 1 rising, -1 falling, 0 not known yet
        self.extreme = 0.0
        self.extreme_ms = -1
        self.turned: float | None = None  # the turn before, None when the leg may not be learned
        self.turned_ms = -1
        self.room = (0.0, 0.0)  # sum and count of all room temperatures so far …
        self.room_extreme = self.room  # … and as they stood at the extreme and at the turn
        self.room_turned = self.room
        self.peaks: list[list[Any]] = []
        self.troughs: list[list[Any]] = []
        self.falls: list[Leg] = []
        self.rises: list[Leg] = []
        self._sum_up()

    @property
    def resolved(self) -> bool:
        """Whether five-minute medians are fine enough to compare single legs."""
        return self.known and self.on_ms >= 15 * MINUTE_MS and self.off_ms >= 25 * MINUTE_MS

    def loss(self, over_room: float | None) -> float:
        """How fast the water would cool with the heater off, °C/h, that far above the room."""
        if over_room is None or self.fall_over_room is None or self.fall_over_room < 0.5:
            return self.fall
        return self.fall * over_room / self.fall_over_room

    def time_constant_h(self) -> float | None:
        """Hours in which the excess over the room falls to 1/e; None without a room temperature."""
        if not self.known or self.fall_over_room is None or self.fall <= 0:
            return None
        return self.fall_over_room / self.fall

    def duty(self) -> float | None:
        """Share of the time the heater is on; None before cycles are known."""
        rises, falls = self.rises, self.falls  # once: a page may ask while they are forgotten
        if min(len(rises), len(falls)) < self.limits.band_learn_cycles:
            return None
        on = median(leg.span_ms for leg in rises)
        off = median(leg.span_ms for leg in falls)
        return on / (on + off)

    def forget_leg(self) -> None:
        """Something else moved the water: the leg it happened in teaches nothing."""
        self.direction = 0
        self.extreme_ms = -1
        self.turned = None

    def forget_legs(self) -> None:
        """The tank was changed: how fast it cools and warms is to be learned anew."""
        self.forget_leg()
        self.falls, self.rises = [], []
        self._sum_up()

    def follow(
        self, buckets: Sequence[Bucket], room: float | None, noise: float = 0.0, few: float = 1.0
    ) -> Turn | None:
        """One more five-minute median; the turn it shows, if any. Nothing is learned yet.

        buckets: the last hours, the new one last. noise: how far, in °C, chance alone may turn the
        medians about. few: how many times as far, where they are of fewer than five readings.
        """
        at_ms, value = buckets[-1].end_ms, buckets[-1].value
        if room is not None:
            self.room = (self.room[0] + room, self.room[1] + 1.0)
        if self.extreme_ms < 0:
            self._reach(at_ms, value)
            return None
        turn = min(max(0.1, 0.4 * self.swing, noise), 0.3) if self.swing else few * _FIRST_TURN
        if self.direction == 0:
            if abs(value - self.extreme) >= turn:
                self.direction = 1 if value > self.extreme else -1
                self._reach(at_ms, value)
            return None
        if (value - self.extreme) * self.direction >= 0:
            self._reach(at_ms, value)
            return None
        if abs(value - self.extreme) < turn:
            return None
        seen = Turn(self.direction > 0, self.extreme_ms, self.extreme, self._leg(buckets))
        self.turned, self.turned_ms = self.extreme, self.extreme_ms
        self.room_turned = self.room_extreme
        self.direction = -self.direction
        self._reach(at_ms, value)
        return seen

    def _reach(self, at_ms: int, value: float) -> None:
        self.extreme, self.extreme_ms = value, at_ms
        self.room_extreme = self.room

    def _leg(self, buckets: Sequence[Bucket]) -> Leg | None:
        """The leg that ends at the extreme, if its other end is known."""
        if self.turned is None:
            return None
        span_ms = self.extreme_ms - self.turned_ms
        change = abs(self.extreme - self.turned)
        if span_ms <= 0 or change <= 0:
            return None
        # the room's mean over the leg: at one moment a draught or the boiler says more
        looks = self.room_extreme[1] - self.room_turned[1]
        middle = (self.extreme + self.turned) / 2
        over = None
        if looks > 0:
            over = middle - (self.room_extreme[0] - self.room_turned[0]) / looks
        # where the water turns is known only to some minutes, and the slower it cools the less so
        per_h = _fitted(buckets, self.turned_ms, self.extreme_ms, rising=self.direction > 0)
        return Leg(self.extreme_ms, span_ms, per_h or change / span_ms * HOUR_MS, over, middle)

    def rise_so_far(self, buckets: Sequence[Bucket]) -> tuple[int, float] | None:
        """Since when the water has surely been rising, and how fast, °C/h; None below 20 minutes.

        Its last look still at the foot counts as the beginning: the trough may be long past.
        """
        if self.direction <= 0 or self.turned is None:
            return None
        foot = self.turned + _FOOT * self.swing
        first = len(buckets) - 1
        while first > 0 and buckets[first].value > foot:
            first -= 1
        rise = buckets[max(first, 0) :]
        if len(rise) < 5:
            return None
        per_h = fitted_per_h([b.end_ms for b in rise], [b.value for b in rise])
        return None if per_h is None else (rise[0].end_ms, per_h)

    def learn(self, turn: Turn, *, leg: bool = True) -> None:
        """Take a turn, and the leg before it unless told not to, as the tank's ordinary way."""
        turns = self.peaks if turn.is_peak else self.troughs
        turns.append([turn.at_ms, turn.value])
        del turns[:-KEPT_TURNS]
        if leg and turn.leg is not None:
            legs = self.rises if turn.is_peak else self.falls
            legs.append(turn.leg)
            del legs[:-KEPT_TURNS]
        self._sum_up()

    def adopt(self, turns: list[list[Any]]) -> None:
        """What was odd is the new usual. turns: [is_peak, at_ms, value], oldest first."""
        for is_peak in (True, False):
            found = [[at_ms, value] for peak, at_ms, value in turns if bool(peak) is is_peak]
            if found:
                if is_peak:
                    self.peaks = found
                else:
                    self.troughs = found
        self._sum_up()

    def loss_ratio(self, leg: Leg) -> float | None:
        """How many times as fast as usual the water cooled, the room's warmth allowed for."""
        usual = self.loss(leg.over_room)
        return leg.per_h / usual if usual > 0.02 else None

    def power_ratio(self, leg: Leg) -> float | None:
        """Which share of its usual power the heater gave."""
        return (leg.per_h + self.loss(leg.over_room)) / self.power if self.power > 0.05 else None

    def doubtful(self, *, rising: bool, legs: int) -> float:
        """How far chance may put the common ratio of so many legs from 1: one standard deviation.

        From how the learned legs scatter about their own median, and from how few they are.
        """
        learned = (self.rises if rising else self.falls)[-8:]
        ratios = [self.power_ratio(leg) if rising else self.loss_ratio(leg) for leg in learned]
        found = [ratio for ratio in ratios if ratio is not None]
        if not found or legs <= 0:
            return 1.0
        middle = median(found)
        own = 1.4826 * median(abs(ratio - middle) for ratio in found)
        weight = _SCATTER_LEGS + len(found)
        scatter = sqrt((_SCATTER_LEGS * _SCATTER**2 + len(found) * own**2) / weight)
        return scatter * sqrt(1 / legs + 1 / len(found))

    def _sum_up(self) -> None:
        peaks = [value for _, value in self.peaks[-8:]]
        troughs = [value for _, value in self.troughs[-8:]]
        self.peak_ms: int = self.peaks[-1][0] if peaks else -1
        self.trough_ms: int = self.troughs[-1][0] if troughs else -1
        self.upper = median(peaks[-5:]) if peaks else 0.0
        self.lower = median(troughs[-5:]) if troughs else 0.0
        self.upper_max = max(peaks) if peaks else 0.0
        self.lower_min = min(troughs) if troughs else 0.0
        self.swing = max(self.upper - self.lower, 0.0) if peaks and troughs else 0.0
        self.fall, self.fall_over_room = _middle(self.falls[-8:])
        self.rise, self.rise_over_room = _middle(self.rises[-8:])
        need = self.limits.band_learn_cycles
        self.known = len(self.falls) >= need and len(self.rises) >= need
        self.banded = len(self.peaks) >= need and len(self.troughs) >= need
        self.power = self.rise + self.loss(self.rise_over_room)
        spans = [leg.span_ms for leg in self.falls[-8:]], [leg.span_ms for leg in self.rises[-8:]]
        self.off_ms, self.on_ms = (int(median(span)) if span else 0 for span in spans)
        self.period_ms = self.off_ms + self.on_ms if all(spans) else 0

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [
            self.direction, self.extreme, self.extreme_ms, self.turned, self.turned_ms,
            self.peaks, self.troughs, self.room, self.room_extreme, self.room_turned,
            [leg.dump() for leg in self.falls], [leg.dump() for leg in self.rises],
        ]  # fmt: skip

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        (
            self.direction, self.extreme, self.extreme_ms, self.turned, self.turned_ms,
            self.peaks, self.troughs, room, extreme, turned, falls, rises,
        ) = row  # fmt: skip
        self.room, self.room_extreme, self.room_turned = tuple(room), tuple(extreme), tuple(turned)
        self.falls = [Leg(*leg) for leg in falls]
        self.rises = [Leg(*leg) for leg in rises]
        self._sum_up()


def _fitted(buckets: Sequence[Bucket], from_ms: int, to_ms: int, *, rising: bool) -> float | None:
    """The fitted rate of a leg, °C/h, positive; None when it began before `buckets` do.

    Measured on random rooms: rates of one tank's rises scatter by 8 % instead of 14 %, of its falls
    by 7 % instead of 9 %.
    """
    first = len(buckets)
    while first and buckets[first - 1].end_ms >= from_ms:  # from the end: what is old is far away
        first -= 1
    leg = [bucket for bucket in buckets[first:] if bucket.end_ms <= to_ms]
    if not leg or leg[0].end_ms != from_ms:
        return None
    if rising:  # the foot and the top are flat in the five minutes
        low, height = leg[0].value, leg[-1].value - leg[0].value
        first = max(n for n, b in enumerate(leg) if b.value - low <= _FOOT * height)
        last = next((n for n, b in enumerate(leg) if n > first and b.value - low >= _TOP * height),
                    len(leg) - 1)  # fmt: skip
        if last - first >= 2:
            leg = leg[first : last + 1]
    per_h = fitted_per_h([bucket.end_ms for bucket in leg], [bucket.value for bucket in leg])
    return None if per_h is None or (per_h > 0) != rising else abs(per_h)


def _middle(legs: list[Leg]) -> tuple[float, float | None]:
    """Median rate, and the median height over the room where it is known for all."""
    if not legs:
        return 0.0, None
    over = [leg.over_room for leg in legs if leg.over_room is not None]
    return median(leg.per_h for leg in legs), median(over) if len(over) == len(legs) else None
