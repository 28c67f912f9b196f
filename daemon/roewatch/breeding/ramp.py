"""A ramp: dated partial water changes that lead a tank to its target, never faster than allowed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from roewatch.breeding.pace import Followed, Moment, Pace, Strain, WaterState, hardest
from roewatch.breeding.plan import Plan, Step
from roewatch.breeding.walk import CHANGE_MS, Day, Walk, next_thermostat
from roewatch.breeding.warming import Warmth
from roewatch.breeding.warming import cautions as warming_cautions
from roewatch.room.moment import DAY_MS, HOUR_MS, iso
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch.water import carbonate
from roewatch.water.hardness import MEQ_PER_DKH
from roewatch.water.refusal import RefusedError, within
from roewatch.water.source import Makeup, SourceWater

SETTLED_MS = 6 * HOUR_MS
"""An aired tank has lost or taken up nearly all its CO2 by then."""
MOST_DAYS = 120
_QUANTITIES = (
    (Quantity.TEMPERATURE, Followed.TEMPERATURE),
    (Quantity.PH, Followed.PH),
    (Quantity.CONDUCTIVITY, Followed.CONDUCTIVITY),
)


class RampRefusedError(RefusedError):
    """No safe ramp as asked. shortest: the shortest safe one found, or None when there is none."""

    def __init__(self, reason: str, shortest: "Ramp | None" = None) -> None:
        super().__init__(reason)
        self.shortest = shortest


@dataclass(frozen=True, slots=True, kw_only=True)
class RampWish:
    """What is asked of a ramp.

    now: the tank as measured. recipe: the vat's water as it will be poured. targets: bands of the
    numbers that matter, in their units; celsius: of the tank at the end, None to leave it; one of
    the two at least. water_celsius: of the new water, None when it is brought to the tank's.
    paces: what may not be broken. first_ms: the first change; one a day follows. days: until the
    target is reached. pco2: CO2 of the room's air, µatm, used when the tank has no pH reading.
    seen: earlier measurements in order of time: what the tank has already been put through.
    """

    tank: str
    litres: float
    now: SourceWater
    recipe: Makeup
    targets: Mapping[Followed, Window] = field(default_factory=dict)
    celsius: float | None = None
    water_celsius: float | None = None
    paces: Sequence[Pace]
    first_ms: int
    days: int
    largest_change: float = 0.3
    pco2: float = carbonate.ROOM_UATM
    warmth: Warmth | None = None
    seen: Sequence[Moment] = ()

    def __post_init__(self) -> None:
        within(self.litres, 0.5, 100_000.0, what="tank volume", unit="L")
        within(self.days, 1, MOST_DAYS, what="days")
        within(self.largest_change, 0.01, 0.9, what="largest change, as a share")
        if self.celsius is not None:
            within(self.celsius, 10.0, 36.0, what="wanted temperature", unit="°C")
        if not self.targets and self.celsius is None:
            raise RefusedError("nothing is wanted of this ramp. Give a band or a temperature.")
        if Followed.TEMPERATURE in self.targets:
            raise RefusedError("give the wanted temperature as `celsius`, not as a band.")


@dataclass(frozen=True, slots=True, kw_only=True)
class RampStep:
    """One day.

    fraction of the tank changed, 0 on a day of warming or waiting; litres: the same in litres.
    before, just_after: the tank around the change. settled: before the next one.
    thermostat: °C to set once the change is done.
    """

    at_ms: int
    fraction: float
    litres: float
    before: WaterState
    just_after: WaterState
    settled: WaterState
    thermostat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ramp:
    """A whole safe ramp. moments: every predicted state in order of time, for checking."""

    tank: str
    steps: tuple[RampStep, ...]
    moments: tuple[Moment, ...]
    cautions: tuple[str, ...] = ()

    @property
    def ends_ms(self) -> int:
        """When the last change has settled."""
        return self.moments[-1].at_ms

    @property
    def days(self) -> int:
        """Days from the first step to the end."""
        return len(self.steps)

    def meant_at(self, at_ms: int) -> WaterState | None:
        """The tank as predicted at `at_ms`; None outside the ramp."""
        for step in self.steps:
            if step.at_ms <= at_ms < step.at_ms + CHANGE_MS:
                return step.before
            if step.at_ms <= at_ms <= step.at_ms + DAY_MS:
                return step.just_after if at_ms < step.at_ms + SETTLED_MS else step.settled
        return None

    def plans(self) -> tuple[Plan, ...]:
        """What the probes are meant to show: a plan each for temperature, pH and conductivity."""
        if not self.steps:
            return ()
        found = []
        for quantity, followed in _QUANTITIES:
            meant = [
                (at_ms, state.of(followed))
                for step in self.steps
                for at_ms, state in (
                    (step.at_ms, step.before),
                    (step.at_ms + CHANGE_MS, step.just_after),
                    (step.at_ms + SETTLED_MS, step.settled),
                )
            ]
            meant.append((self.ends_ms, self.steps[-1].settled.of(followed)))
            known = [Step(at_ms=at_ms, value=value) for at_ms, value in meant if value is not None]
            if len(known) == len(meant):
                found.append(Plan(tank=self.tank, quantity=quantity, steps=tuple(known)))
        return tuple(found)


def draw(wish: RampWish) -> Ramp:
    """The ramp asked for: the target is reached within `days`, evenly, and no pace is broken.

    A tank that was already moved too fast (`seen`) waits first. Raises RampRefusedError when the
    recipe cannot reach the target (and how near it comes), when a pace forbids every step, or when
    `days` is too few: then `shortest` holds the shortest safe ramp. Raises RefusedError for
    readings that contradict one another, or a heater too weak.
    """
    heat = () if wish.warmth is None or wish.celsius is None else warming_cautions(
        wish.warmth, wanted=wish.celsius
    )  # fmt: skip
    walk = _walk(wish)
    goal = _goal(wish, walk)
    shortest = _stepped(wish, walk, goal, ease=1.0, most_days=MOST_DAYS)
    if isinstance(shortest, Strain):
        raise RampRefusedError(_blocked(shortest))
    if shortest.days > wish.days:
        raise RampRefusedError(
            f"{wish.days} days are too few for a safe ramp; the shortest takes {shortest.days}. "
            f"What holds it back: {_tightest(wish, shortest)}.",
            replace(shortest, cautions=heat + _cautions(shortest, wish)),
        )
    ramp = _evened(wish, walk, goal, shortest)
    return replace(ramp, cautions=heat + _cautions(ramp, wish))


def redraw(
    wish: RampWish, *, now: SourceWater, seen: Sequence[Moment], first_ms: int, last_ms: int
) -> Ramp:
    """The rest of a ramp from what the probes and kits really show.

    now: the tank as measured. seen: what it has been put through lately, in order of time: it
    counts against the paces. last_ms: when the target is still to be reached. Errors as `draw`.
    """
    days = max(1, round((last_ms - first_ms) / DAY_MS))
    return draw(replace(wish, now=now, seen=tuple(seen), first_ms=first_ms, days=days))


_STRAY = {
    Followed.PH: 0.2,
    Followed.HARDNESS: 1.0,
    Followed.CARBONATE: 0.5,
    Followed.TEMPERATURE: 1.0,
}


def astray(ramp: Ramp, measured: Moment) -> dict[Followed, float]:
    """Measured less meant, for each number further off than its own reading error explains.

    Empty when the tank follows its ramp, or outside it. Conductivity strays beyond 10 % + 5 µS/cm.
    """
    meant = ramp.meant_at(measured.at_ms)
    if meant is None:
        return {}
    found = {}
    for followed in Followed:
        is_value, meant_value = measured.state.of(followed), meant.of(followed)
        if is_value is None or meant_value is None:
            continue
        allowed = _STRAY.get(followed, 5.0 + 0.1 * meant_value)
        if abs(is_value - meant_value) > allowed:
            found[followed] = is_value - meant_value
    return found


def _walk(wish: RampWish) -> Walk:
    start = wish.now.makeup
    if wish.now.ph is None:
        return Walk(start, wish.recipe, wish.pco2)
    # the tank's own CO2, told by its pH, is what it returns to between changes
    here = start.closed()
    if not 50.0 <= here.pco2 <= 20_000.0:
        raise RampRefusedError(
            f"pH {wish.now.ph:.2f} with {start.dkh:.2f} dKH would mean {here.pco2:.0f} µatm of "
            "CO2, which no aired tank holds. Measure pH and KH again."
        )
    return Walk(start, wish.recipe, here.pco2)


_GRID = 250


def _goal(wish: RampWish, walk: Walk) -> float:
    """How far along the walk the targets are met, 0-1, a little inside the bands.

    Raises RampRefusedError with the nearest the recipe comes.
    """
    celsius = wish.now.celsius if wish.celsius is None else wish.celsius

    def met(progress: float) -> bool:
        return not missed(wish.targets, walk.rest(progress, celsius))

    entered = next((i for i in range(_GRID + 1) if met(i / _GRID)), None)
    if entered == 0:
        return 0.0
    if entered is None or entered / _GRID > 0.99:
        ends = walk.rest(0.99, celsius)
        short = "; ".join(
            f"{_said(name, ends.of(name))} where {_band(name, band)} is wanted"
            for name, band in (missed(wish.targets, ends) or wish.targets).items()
        )
        raise RampRefusedError(
            "this recipe never leads there, however often the water is changed. Nearest: "
            f"{short}. The recipe must lie beyond the target: make it softer or more acid, "
            "or harder if you are coming back."
        )
    low, high = (entered - 1) / _GRID, entered / _GRID
    for _ in range(20):
        middle = (low + high) / 2.0
        low, high = (low, middle) if met(middle) else (middle, high)
    # an exact edge is missed by any kit: go further in, as far as the band allows
    for further in (0.02, 0.01, 0.005, 0.002):
        if high + further < 0.99 and met(high + further) and met(high + further / 2.0):
            return high + further / 2.0
    return high


def missed(targets: Mapping[Followed, Window], state: WaterState) -> dict[Followed, Window]:
    """The bands `state` lies outside. Raises RefusedError where it was never measured."""
    found = {}
    for followed, window in targets.items():
        value = state.of(followed)
        if value is None:
            raise RefusedError(
                f"a band of {followed} is wanted, but the tank or the recipe has none measured."
            )
        if window.outside_by(value) != 0.0:
            found[followed] = window
    return found


def _stepped(
    wish: RampWish, walk: Walk, goal: float, *, ease: float, most_days: int
) -> Ramp | Strain:
    """Day by day the largest change that every pace, eased, allows; or what forbids it."""
    paces = [pace.eased(ease) for pace in wish.paces]
    celsius, progress = wish.now.celsius, 0.0
    moments = [*wish.seen, Moment(_start_ms(wish, walk), walk.rest(0.0, celsius))]
    patience = max((pace.span_ms for pace in paces), default=0) // DAY_MS + 2
    steps: list[RampStep] = []
    idle = 0
    while progress < goal - 1e-9 or (wish.celsius is not None and celsius != wish.celsius):
        day, fraction, blocked = _day(wish, walk, paces, moments, progress, celsius, goal)
        idle = idle + 1 if fraction == 0.0 and day.thermostat == celsius else 0
        if blocked is not None and idle > patience:
            return blocked
        if len(steps) >= most_days or idle > patience:
            raise RampRefusedError(
                f"a ramp this gentle takes more than {most_days} days. Use a recipe nearer the "
                "target, or move the animals by drip."
            )
        after = day.after(fraction)
        steps.append(
            RampStep(
                at_ms=day.at_ms,
                fraction=fraction,
                litres=fraction * wish.litres,
                before=moments[-1].state,
                just_after=after[0].state if fraction > 0.0 else moments[-1].state,
                settled=after[-1].state,
                thermostat=day.thermostat,
            )
        )
        moments.extend(after)
        progress += fraction * (1.0 - progress)
        celsius = day.thermostat
    return Ramp(tank=wish.tank, steps=tuple(steps), moments=tuple(moments))


def _day(
    wish: RampWish,
    walk: Walk,
    paces: Sequence[Pace],
    moments: Sequence[Moment],
    progress: float,
    celsius: float,
    goal: float,
) -> tuple[Day, float, Strain | None]:
    """The day, its change, and the pace that stops a larger one."""
    day = Day(
        walk=walk,
        paces=paces,
        moments=moments,
        progress=progress,
        celsius=celsius,
        thermostat=_reachable(
            wish, celsius, next_thermostat(celsius, wish.celsius, moments=moments, paces=paces)
        ),
        water_celsius=wish.water_celsius,
        rested_dic=walk.aired(progress, celsius).dic,
    )
    most = min(wish.largest_change, max(goal - progress, 0.0) / (1.0 - progress))
    fraction, blocked = day.largest_fraction(most)
    if blocked is not None and fraction == 0.0 and day.thermostat != celsius:
        # warmth moves pH a little too: hold it back rather than stand still
        held = day._replace(thermostat=celsius)
        fraction, blocked = held.largest_fraction(most)
        if fraction > 0.0 or _breaks(day.strain_of(0.0)):
            day = held
    return day, fraction, blocked


def _breaks(strain: Strain | None) -> bool:
    return strain is not None and strain.breaks


def _reachable(wish: RampWish, celsius: float, thermostat: float) -> float:
    """The setting, or as near as heater and room get in most of a day."""
    if wish.warmth is None or thermostat == celsius:
        return thermostat
    rising = thermostat > celsius
    reached = wish.warmth.after(20.0, celsius=celsius, heating=rising)
    return min(thermostat, reached) if rising else max(thermostat, reached)


def _start_ms(wish: RampWish, walk: Walk) -> int:
    """When the first change may be: as asked, or once what was seen is far enough back."""
    at_ms = wish.first_ms
    state = walk.rest(0.0, wish.now.celsius)
    for moment in wish.seen:
        for pace in wish.paces:
            if _breaks(hardest([moment], Moment(wish.first_ms, state), [pace])):
                at_ms = max(at_ms, moment.at_ms + pace.span_ms + 1)
    return at_ms


def _evened(wish: RampWish, walk: Walk, goal: float, shortest: Ramp) -> Ramp:
    """The gentlest ramp that still ends within the days given."""
    best = shortest
    low, high = 0.0, 1.0
    for _ in range(7):
        if best.days == wish.days and high - low < 0.1:
            break
        ease = (low + high) / 2.0
        try:
            tried = _stepped(wish, walk, goal, ease=ease, most_days=wish.days)
        except RampRefusedError:
            low = ease
            continue
        if isinstance(tried, Strain) or tried.days > wish.days:
            low = ease
        else:
            best, high = tried, ease
    return best


def _blocked(strain: Strain) -> str:
    pace = strain.pace
    before, after = strain.earlier.state, strain.later.state
    return (
        f"no change is small enough: even half a per cent would break “{pace.text()}” "
        f"({_said(pace.followed, before.of(pace.followed))} to "
        f"{_said(pace.followed, after.of(pace.followed))}). Use a recipe nearer the tank's water "
        "first, air the vat until pH stands still, and bring the water to the tank's warmth."
    )


def _tightest(wish: RampWish, ramp: Ramp) -> str:
    """The pace the shortest ramp leans on most."""
    use: dict[str, float] = {}
    for pace in wish.paces:
        for i, later in enumerate(ramp.moments):
            for earlier in ramp.moments[:i]:
                if earlier.at_ms < later.at_ms - pace.span_ms:
                    continue
                a, b = earlier.state.of(pace.followed), later.state.of(pace.followed)
                if a is None or b is None:
                    continue
                use[pace.text()] = use.get(pace.text(), 0.0) + (pace.strain(a, b) > 0.95)
    return max(use, key=lambda text: use[text]) if any(use.values()) else "the largest change"


def _said(followed: Followed, value: float | None) -> str:
    if value is None:
        return f"{followed} unknown"
    digits = 0 if followed is Followed.CONDUCTIVITY else 2
    if followed is Followed.PH:
        return f"pH {value:.2f}"
    return f"{value:.{digits}f} {followed}"


def _band(followed: Followed, window: Window) -> str:
    return window.text(0 if followed is Followed.CONDUCTIVITY else 2)


def _cautions(ramp: Ramp, wish: RampWish) -> tuple[str, ...]:
    found = [
        "Unplug heater and pump before hands go in; plug in again only with the glass covered.",
        "Measure before every change. If pH is more than 0.2 off the plan, stop and plan again.",
        "Replace what evaporated with rain or RO before the change, or the tank creeps harder.",
    ]
    if not ramp.steps:
        return tuple(found)
    if ramp.steps[0].at_ms > wish.first_ms:
        found.insert(
            0,
            "The tank was already moved faster than its limits: the first change waits until "
            f"{iso(ramp.steps[0].at_ms)}.",
        )
    first, last = ramp.steps[0].before, ramp.steps[-1].settled
    if last.dkh * MEQ_PER_DKH < 0.05:
        found.append(
            "The end is almost without alkalinity: pH can crash overnight. Watch it daily and keep "
            "a litre of the old water at hand."
        )
    if last.conductivity is not None and last.conductivity < 50.0:
        found.append("Below 50 µS/cm a pH probe is slow and may be 0.2 off: wait for it.")
    if last.ph > first.ph + 0.3 and last.ph > 6.8:
        found.append(
            "pH rises: test total ammonia first. What was harmless at the old pH may not be."
        )
    if wish.water_celsius is None:
        found.append("Bring the new water to the tank's temperature, within half a degree.")
    return tuple(found)
