"""A ramp: dated partial water changes that lead a tank to its target, never faster than allowed."""

from collections.abc import Sequence
from dataclasses import replace

from roewatch.breeding import ramp_advice
from roewatch.breeding.pace import Moment, Pace, Strain, hardest
from roewatch.breeding.ramp_advice import band, said
from roewatch.breeding.ramp_wish import (
    MOST_DAYS,
    Ramp,
    RampRefusedError,
    RampStep,
    RampWish,
    astray,
    missed,
)
from roewatch.breeding.walk import Day, Walk, next_thermostat
from roewatch.breeding.warming import cautions as warming_cautions
from roewatch.room.measured import carbonate_hardness
from roewatch.room.moment import DAY_MS
from roewatch.water.source import SourceWater

__all__ = ["Ramp", "RampRefusedError", "RampStep", "RampWish", "astray", "draw", "redraw"]


def draw(wish: RampWish) -> Ramp:
    """The ramp asked for: the target is reached within `days`, evenly, and no pace is broken.

    A tank that was already moved too fast (`seen`) waits first. Raises RampRefusedError when the
    recipe cannot reach the target (and how near it comes), when a pace forbids every step, or when
    `days` is too few: then `shortest` holds the shortest safe ramp. Raises RefusedError for
    readings that contradict one another, or a heater too weak.
    """
    minded = () if wish.warmth is None or wish.celsius is None else warming_cautions(
        wish.warmth, wanted=wish.celsius
    )  # fmt: skip
    wish = wish.left_for_steps()
    walk = _walk(wish)
    goal = _goal(wish, walk)
    minded += _doubt(wish, walk, goal)
    shortest = _stepped(wish, walk, goal, ease=1.0, most_days=MOST_DAYS)
    if isinstance(shortest, Strain):
        raise RampRefusedError(ramp_advice.blocked_by(shortest))
    if shortest.days > wish.days:
        raise RampRefusedError(
            f"{wish.days} days are too few for a safe ramp; the shortest takes {shortest.days}. "
            f"What holds it back: {ramp_advice.tightest(wish, shortest)}.",
            replace(shortest, cautions=minded + ramp_advice.cautions(shortest, wish)),
        )
    ramp = _evened(wish, walk, goal, shortest)
    return replace(ramp, cautions=minded + ramp_advice.cautions(ramp, wish))


def redraw(
    wish: RampWish, *, now: SourceWater, seen: Sequence[Moment], first_ms: int, last_ms: int
) -> Ramp:
    """The rest of a ramp from what the probes and kits really show.

    now: the tank as measured. seen: what it has been put through lately, in order of time: it
    counts against the paces. last_ms: when the target is still to be reached. Errors as `draw`.
    """
    days = max(1, round((last_ms - first_ms) / DAY_MS))
    return draw(replace(wish, now=now, seen=tuple(seen), first_ms=first_ms, days=days))


def _doubt(wish: RampWish, walk: Walk, goal: float) -> tuple[str, ...]:
    """How far the end may lie off by the KH kit alone, where that is far enough to say."""
    end = walk.at(goal)
    off = 0.01 + 0.05 * abs(end.alkalinity)
    celsius = wish.now.celsius if wish.celsius is None else wish.celsius
    low, high = (
        replace(end, alkalinity=end.alkalinity + by).aired(pco2=walk.pco2, celsius=celsius).ph
        for by in (-off, off)
    )
    if high - low < 0.4:
        return ()
    return (
        (
            f"By the usual error of a KH reading the end may lie anywhere from pH {low:.1f} to "
            f"{high:.1f}. Believe the probe before the plan, and plan again."
        ),
    )


def _walk(wish: RampWish) -> Walk:
    start = wish.now.makeup
    if wish.now.ph is None:
        return Walk(start, wish.recipe, wish.pco2)
    # the tank's own CO2, told by its pH, is what it returns to between changes
    here = start.closed()
    if not 50.0 <= here.pco2 <= 20_000.0:
        raise RampRefusedError(
            f"pH {wish.now.ph:.2f} with {carbonate_hardness(start.dkh, '.2f')} would mean "
            f"{here.pco2:.0f} µatm of CO2, which no aired tank holds. Measure pH and KH again."
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
            f"{said(name, ends.of(name))} where {band(name, window)} is wanted"
            for name, window in (missed(wish.targets, ends) or wish.targets).items()
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
