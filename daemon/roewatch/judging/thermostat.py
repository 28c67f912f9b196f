"""A thermostat: moved, cycling too wide; and what the legs between its turns say besides.

A leg that cools faster than the room explains is a lid off; one that warms too slowly is a weak
heater. Turns far from the usual are kept apart until they have lasted long enough to be the usual.
"""

from collections.abc import Iterator
from itertools import chain
from typing import TYPE_CHECKING, Any, ClassVar, Final

from roewatch.judging.cycle import Turn
from roewatch.judging.doubt import Doubt
from roewatch.judging.finding import Finding
from roewatch.judging.outlook import measured_per_h
from roewatch.judging.standing import Seen
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.wear import Wear
from roewatch.room.kind import Kind
from roewatch.room.measured import temperature, warmer
from roewatch.room.moment import DAY_MS, HOUR_MS, span_text
from roewatch.room.quantity import Quantity

if TYPE_CHECKING:
    from roewatch.judging.heat import Heat

_T: Final = Quantity.TEMPERATURE
_KEPT_ODD: Final = 12
# times as long as a moved thermostat must anything else last to be the new usual
_NEW_WAY: Final = 5
_LEAST_OVER_ROOM: Final = 2.5  # °C
_A_GUESS: Final = 0.2  # a colder room may make falls so much quicker where no probe tells of it
_LEGS_MS: Final = DAY_MS  # how long a leg is compared with those after it
_SURE: Final = 4.0  # standard deviations by which legs must differ from the usual


class Thermostat:
    """The slower half of one tank's heating: judged at turns and once a day."""

    SAVED: ClassVar = ("odd", "slacks", "cooling", "warming", "last_peak", "last_peak_ms")
    __slots__ = (*SAVED, "heat", "strange", "wear")

    def __init__(self, heat: "Heat") -> None:
        self.heat = heat
        self.wear = Wear(heat)
        self.odd: list[list[Any]] = []  # [is_peak, at_ms, value] of turns not yet learned
        self.slacks: list[list[Any]] = []  # [until_ms, °C]: how far turns may be off for a while
        # the last falls, as [loss ratio, span, end_ms], and the last rises with their power ratio
        self.cooling: list[list[float]] = []
        self.warming: list[list[float]] = []
        self.strange = [-1, -1]  # since when no fall, and no rise, was as usual
        self.last_peak = 1e9
        self.last_peak_ms = -1

    # -- turns -----------------------------------------------------------------------------------

    def turn(self, turn: Turn, at_ms: int, *, quiet: bool, out: list[Finding]) -> None:
        """The water turned."""
        cycle = self.heat.cycle
        if turn.is_peak:
            self.last_peak, self.last_peak_ms = turn.value, turn.at_ms
        if not cycle.known and not cycle.banded:
            cycle.learn(turn, leg=not quiet)
            return
        ordinary = self._leg(turn, quiet=quiet) if cycle.known else not quiet
        usual = cycle.upper if turn.is_peak else cycle.lower
        off = turn.value - usual
        limits = self.heat.limits
        if abs(off) > limits.odd_turn_celsius + self.heat.knob:
            if quiet:
                return
            self.odd.append([turn.is_peak, turn.at_ms, turn.value])
            del self.odd[1 : 1 - _KEPT_ODD]  # the first says since when
            # the next turn may be as far off on the other side
            self.allow(at_ms + max(4 * cycle.period_ms, 12 * HOUR_MS), abs(off) + 0.1)
        else:
            if self.odd and self.odd[-1][0] == turn.is_peak:
                self.odd = []
            if not quiet:
                cycle.learn(turn, leg=ordinary)
        self._judge_turns(at_ms, out)
        self._judge_legs(at_ms, turn, out)
        self._relearn(at_ms, out)

    def allow(self, until_ms: int, celsius: float) -> None:
        """Turns may be that far off until then."""
        self.slacks.append([until_ms, celsius])
        del self.slacks[:-6]

    def slack(self, at_ms: int) -> float:
        """How far beyond the usual switch points the water may go just now."""
        if not self.slacks:
            return 0.0
        self.slacks = [slack for slack in self.slacks if slack[0] > at_ms]
        return max((celsius for _, celsius in self.slacks), default=0.0)

    def _judge_turns(self, at_ms: int, out: list[Finding]) -> None:
        """The last peak and the last trough together: moved both, or drawn apart?"""
        cycle = self.heat.cycle
        peak = self._latest(is_peak=True)
        trough = self._latest(is_peak=False)
        if peak is None or trough is None:
            return
        up, down = peak - cycle.upper, trough - cycle.lower
        limit = self.heat.limits.odd_turn_celsius
        swing = peak - trough
        moved = (
            min(abs(up), abs(down)) > 0.8 * limit
            and up * down > 0
            and abs(up - down) < max(0.35, 0.4 * abs(up))
            and self.odd
        )
        wide = swing > 1.6 * cycle.swing and swing - cycle.swing > limit
        since = span_text(at_ms - self.odd[0][1]) if self.odd else ""
        if moved:
            self._see(
                Kind.THERMOSTAT_MOVED, at_ms, peak,
                f"switches at {temperature(trough)} and {temperature(peak)} for {since}, before at "
                f"{temperature(cycle.lower)} and {temperature(cycle.upper)}; the thermostat or the "
                "probe has moved, check with a hand thermometer", out,
            )  # fmt: skip
        elif wide:
            self._see(
                Kind.CYCLE_TOO_WIDE, at_ms, peak,
                f"swings between {temperature(trough)} and {temperature(peak)}, before between "
                f"{temperature(cycle.lower)} and {temperature(cycle.upper)}", out,
            )  # fmt: skip
        if not wide:
            self._end(Kind.CYCLE_TOO_WIDE, at_ms, f"swings by {warmer(swing)} again", out)
        if not moved and not self.odd:
            self._end(Kind.THERMOSTAT_MOVED, at_ms, f"switches at {temperature(cycle.lower)} and "
                      f"{temperature(cycle.upper)} again", out)  # fmt: skip
        self._adopt(at_ms, moved=bool(moved), out=out)

    def _latest(self, *, is_peak: bool) -> float | None:
        cycle = self.heat.cycle
        learned = cycle.peaks if is_peak else cycle.troughs
        both = [[at, v] for peak, at, v in self.odd if peak == is_peak] + learned[-1:]
        return max(both)[1] if both else None

    def _adopt(self, at_ms: int, *, moved: bool, out: list[Finding]) -> None:
        """What was odd for a day is the keeper's will, or at least the tank's new way."""
        wait_ms = self.heat.limits.adopt_ms * (1 if moved else _NEW_WAY)
        if not self.odd or at_ms - self.odd[0][1] < wait_ms:
            return
        if len(self.odd) < 5:
            return
        self.heat.cycle.adopt(self.odd[1:])
        self.odd, self.slacks = [], []
        if moved:
            self._end(Kind.THERMOSTAT_MOVED, at_ms, "taken as the thermostat's new setting", out)

    # -- legs ------------------------------------------------------------------------------------

    def _leg(self, turn: Turn, *, quiet: bool) -> bool:
        """Note how the leg compares with the usual; True when it is ordinary enough to learn."""
        cycle, leg = self.heat.cycle, turn.leg
        if leg is None or quiet:
            return not quiet
        over = leg.over_room
        if not turn.is_peak and over is not None and over < _LEAST_OVER_ROOM:
            return True  # so near the room every draught changes the ratio
        cold = self.heat.doubt in (Doubt.CUT, Doubt.COLD)  # short falls of another room
        if cold and self._air_guessed and not turn.is_peak:
            return False  # how cold it is nobody knows well enough to blame this tank
        ratio = cycle.power_ratio(leg) if turn.is_peak else cycle.loss_ratio(leg)
        if ratio is None:
            return True
        if not self._fine() and (turn.is_peak or not self._countable()):
            return 0.55 < ratio < 1.6  # by chance alone it may be so far off
        legs = self.warming if turn.is_peak else self.cooling
        legs.append([ratio, leg.span_ms, leg.end_ms])
        del legs[: -12 if turn.is_peak else -24]
        # what lasts is the tank's new way; a single leg is often off, and in between one is not
        since_ms = self.strange[turn.is_peak]
        usual = 0.75 < _pooled(legs[-4:]) < 1.3
        self.strange[turn.is_peak] = -1 if usual else since_ms if since_ms >= 0 else turn.at_ms
        ailing = self.heat.standing.any_of(Kind.LID_OPEN, Kind.HEATER_WEAK)
        return 0.75 < ratio < 1.3 and not ailing and not cold

    def _relearn(self, at_ms: int, out: list[Finding]) -> None:
        """Legs that were all strange for days: forget the old ones and learn anew."""
        wait_ms = _NEW_WAY * self.heat.limits.adopt_ms
        for rising, kind in ((False, Kind.LID_OPEN), (True, Kind.HEATER_WEAK)):
            if not (self.warming if rising else self.cooling):
                self.strange[rising] = -1  # none could be compared for a day: nobody knows
            since_ms = self.strange[rising]
            if since_ms < 0 or at_ms - since_ms < wait_ms:
                continue
            self.forget_legs()
            self._end(kind, at_ms, f"so for {span_text(at_ms - since_ms)}: taken as the tank's new "
                      "way, and learned anew", out)  # fmt: skip

    def forget_legs(self) -> None:
        """The tank is not what it was: its rates are to be learned anew, its switch points stay."""
        cycle = self.heat.cycle
        cycle.forget_legs()
        self.cooling, self.warming, self.strange = [], [], [-1, -1]

    @property
    def _air_guessed(self) -> bool:
        """Whether no probe tells of the room's air."""
        return self.heat.room_c is None or self.heat.room_spread > 0

    def _fine(self) -> bool:
        """Whether single legs stand out of the five minutes and of the probe's noise."""
        cycle = self.heat.cycle
        return cycle.resolved and cycle.swing >= 4 * self.heat.witness.norm

    def _countable(self) -> bool:
        """Whether many legs taken together stand out, though no single one does."""
        cycle = self.heat.cycle
        return cycle.resolved and cycle.swing >= 2.5 * self.heat.witness.norm

    def _judge_legs(self, at_ms: int, turn: Turn, out: list[Finding]) -> None:
        limits, cycle = self.heat.limits, self.heat.cycle
        # what was before is another tank: its noise may have hidden its legs for days
        legs = self.warming if turn.is_peak else self.cooling
        legs[:] = [leg for leg in legs if leg[2] > at_ms - _LEGS_MS]
        if not turn.is_peak and legs:
            pools = _pools(legs, limits.lid_fall_ms * (1 if self._fine() else 2))
            first = next(pools, None)
            least = limits.lid_times + (_A_GUESS if self._air_guessed else 0.0)
            if first is not None and first[0] > (1 + least) / 2 and any(
                times > least and times > 1 + _SURE * cycle.doubtful(rising=False, legs=many)
                for times, many in chain([first], pools)
            ):  # fmt: skip
                self.lid(at_ms, turn.value, out)
            elif _pooled(legs[-3:]) < 1.2:
                self._end(Kind.LID_OPEN, at_ms, "cools as slowly as usual again", out)
        if turn.is_peak and legs:
            pools, least = _pools(legs, limits.weak_rise_ms), limits.weak_share
            first, weak = next(pools, None), None
            if first is not None and first[0] < (1 + least) / 2:
                shares = chain([first], pools)
                weak = next((
                    share for share, many in shares if share < least
                    and share < 1 - _SURE * cycle.doubtful(rising=True, legs=many)
                ), None)  # fmt: skip
            # of single readings one leg is often off: two must be, each for itself
            slow = [leg for leg in legs[-2:] if leg[0] < (1 + least) / 2]
            alone = self.heat.few > 1.0 and len(slow) < 2
            if weak is not None and not alone and self._cooling(2) < 1.3:
                self.weak(at_ms, turn.value, weak, out)
            elif _pooled(legs[-2:]) > 0.85 and self.heat.standing.holds(Kind.HEATER_WEAK, _T):
                self._end(Kind.HEATER_WEAK, at_ms, "warms as fast as usual again", out)
                del legs[:-2]  # those before are of the heater as it was

    def lid(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """The water loses its warmth faster than the room explains."""
        self._see(
            Kind.LID_OPEN, at_ms, value,
            f"{temperature(value)}: cools faster than usual with the heater off, and the room does "
            "not explain it: is the lid off?", out,
        )  # fmt: skip

    def fell_fast(self, low_ms: int, low: float) -> bool:
        """Whether the fall from the last peak to `low`, reached at low_ms, was a lid's."""
        cycle = self.heat.cycle
        span_ms = low_ms - self.last_peak_ms
        if self.last_peak_ms < 0 or not HOUR_MS // 3 <= span_ms <= 12 * HOUR_MS:
            return False
        if self.heat.quiet_until > self.last_peak_ms:
            return False  # something else has cooled it on the way
        usual = cycle.loss(self.heat.over_room((self.last_peak + low) / 2))
        return usual > 0 and (self.last_peak - low) / span_ms * HOUR_MS > 1.35 * usual

    def _cooling(self, legs: int) -> float:
        """How many times as fast as usual the last falls went, taken together; 1 for none."""
        return _pooled(self.cooling[-legs:]) if self.cooling else 1.0

    def weak(self, at_ms: int, value: float, share: float, out: list[Finding]) -> None:
        """The heater gives only a share of its usual warmth."""
        if self.heat.doubt is not Doubt.NONE and self.heat.doubt is not Doubt.FALLING:
            return  # the room has lost its heating or its power, which says it better
        if self.heat.standing.holds(Kind.BAD_WATER_CHANGE, _T):
            return  # it has more to heat than usual
        self._see(
            Kind.HEATER_WEAK, at_ms, value,
            f"{temperature(value)}: the heater gives about {share:.0%} of its usual warmth", out,
        )  # fmt: skip

    def bucket(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """Five more minutes: is a rise taking far too long, and what do the days show?"""
        cycle = self.heat.cycle
        if not cycle.known:
            return
        if at_ms > self.heat.quiet_until:
            self._judge_reach(at_ms, value, out)
        self.wear.bucket(at_ms, value, out)

    def _judge_reach(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """Is a rise taking far too long, or does the water no longer reach its upper point?"""
        cycle, heat = self.heat.cycle, self.heat
        if cycle.turned is None or cycle.power <= 0.05:
            return
        age_ms = at_ms - cycle.turned_ms
        long = age_ms > max(3 * cycle.period_ms, 3 * HOUR_MS)
        # the extreme is now: else it has turned and is only not sure of it yet
        if not long and (cycle.direction <= 0 or at_ms - cycle.extreme_ms > 2 * BUCKET_MS):
            return
        loss = cycle.loss(heat.over_room((value + cycle.turned) / 2))
        lid = False
        if long:
            # neither up to the switch nor down with the heater off: it heats, and that is all
            slope = measured_per_h(heat, 24)
            share = 1.0 if slope is None else (slope + loss) / cycle.power
            last = [bucket.value for bucket in heat.witness.buckets[-24:]]
            cycles = max(last) - min(last) > 0.8 * cycle.swing  # its turns are only not seen
            low = value < cycle.upper - 0.3 * cycle.swing
            stalled = low and not cycles and self._countable() and 0.15 < share < 0.7
        else:
            usual_ms = cycle.on_ms
            share = ((value - cycle.turned) / age_ms * HOUR_MS + loss) / cycle.power
            rise = cycle.rise_so_far(heat.witness.buckets) if heat.few > 1.0 else None
            if rise is not None:  # the trough of single readings may be long past
                share = max(share, (rise[1] + loss) / cycle.power)
            stalled = (
                age_ms > max(1.7 * usual_ms, HOUR_MS)
                and self._fine()
                and cycle.extreme < cycle.upper - max(0.1, 1.5 * heat.witness.norm)
                and 0.1 < share < 0.65
            )
            # a lid taken off just now warms as slowly; the next fall tells them apart
            lid = share > 1 - 1.1 * loss / cycle.power and age_ms < 3 * usual_ms
        if stalled and not lid and self._cooling(2) <= 1.3:
            self.weak(at_ms, value, share, out)

    # -- telling ---------------------------------------------------------------------------------

    def _see(self, kind: Kind, at_ms: int, value: float, message: str, out: list[Finding]) -> None:
        since_ms = self.odd[0][1] if self.odd else at_ms - HOUR_MS
        seen = Seen(
            kind=kind, quantity=_T, since_ms=since_ms, value=value, message=message,
            window=self.heat.window.text(1) if self.heat.window else "", step=0.5,
        )  # fmt: skip
        self.heat.standing.see(at_ms, seen, out)

    def _end(self, kind: Kind, at_ms: int, message: str, out: list[Finding]) -> None:
        if not self.heat.standing.holds(kind, _T):
            return
        seen = Seen(
            kind=kind, quantity=_T, since_ms=at_ms, value=self.heat.witness.f, message=message
        )
        self.heat.standing.end(at_ms, seen, out)

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [*(getattr(self, name) for name in self.SAVED), self.wear.days, self.strange]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        saved, (days, *strange) = row[: len(self.SAVED)], row[len(self.SAVED) :]
        self.wear.load(days)
        for name, value in zip(self.SAVED, saved, strict=True):
            setattr(self, name, value)
        self.strange = strange[0] if strange else [-1, -1]
        # an older program kept legs without their end: they are not known to be of today
        self.cooling = [leg for leg in self.cooling if len(leg) == 3]
        self.warming = [leg for leg in self.warming if len(leg) == 3]


def _pooled(legs: list[list[float]]) -> float:
    """The common ratio of legs, each by its span.

    Single legs are noisy, by their ends and by the five minutes; their common rate is not.
    """
    return sum((r * span for r, span, _ in legs), 0.0) / sum((span for _, span, _ in legs), 0.0)


def _pools(legs: list[list[float]], span_ms: float) -> Iterator[tuple[float, int]]:
    """The common ratio of the last legs that span so long, then of more and more; and how many."""
    for many in range(1, len(legs) + 1):
        last = legs[-many:]
        spans = sum((leg[1] for leg in last), 0.0)
        if spans >= span_ms and (many >= 2 or last[0][1] >= span_ms):
            yield _pooled(last), many
