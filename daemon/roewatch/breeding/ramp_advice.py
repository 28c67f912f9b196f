"""Advice on a ramp: why not, what holds it back, what to mind, in a keeper's words."""

from roewatch.breeding.pace import Followed, Strain
from roewatch.breeding.ramp_wish import Ramp, RampWish
from roewatch.room.measured import measured, warmer
from roewatch.room.moment import iso
from roewatch.room.window import Window
from roewatch.water.hardness import MEQ_PER_DKH


def blocked_by(strain: Strain) -> str:
    """Why not even the smallest change is safe."""
    pace = strain.pace
    before, after = strain.earlier.state, strain.later.state
    return (
        f"no change is small enough: even half a per cent would break “{pace.text()}” "
        f"({said(pace.followed, before.of(pace.followed))} to "
        f"{said(pace.followed, after.of(pace.followed))}). Use a recipe nearer the tank's water "
        "first, air the vat until pH stands still, and bring the water to the tank's warmth."
    )


def tightest(wish: RampWish, ramp: Ramp) -> str:
    """The pace the shortest ramp leans on most."""
    use: dict[str, float] = {}
    for pace in wish.paces:
        for i, later in enumerate(ramp.moments):
            for earlier in reversed(ramp.moments[:i]):
                if earlier.at_ms < later.at_ms - pace.span_ms:
                    break
                a, b = earlier.state.of(pace.followed), later.state.of(pace.followed)
                if a is None or b is None:
                    continue
                use[pace.text()] = use.get(pace.text(), 0.0) + (pace.strain(a, b) > 0.95)
    return max(use, key=lambda text: use[text]) if any(use.values()) else "the largest change"


def said(followed: Followed, value: float | None) -> str:
    """One number for people: `pH 6.12`, `48 µS/cm`."""
    if value is None:
        return f"{followed.named} unknown"
    if followed is Followed.PH:
        return f"pH {value:.2f}"
    digits = 0 if followed is Followed.CONDUCTIVITY else 2
    return measured(f"{value:.{digits}f}", followed.unit)


def band(followed: Followed, window: Window) -> str:
    """A band for people: `5.90-6.20`, `at most 2.00 °dGH`."""
    digits = 0 if followed is Followed.CONDUCTIVITY else 2
    return measured(window.text(digits), followed.unit)


def cautions(ramp: Ramp, wish: RampWish) -> tuple[str, ...]:
    """What to mind while the ramp runs."""
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
        found.append(f"Bring the new water to the tank's temperature, within {warmer(0.5)}.")
    return tuple(found)
