"""A wish for a ramp, and the ramp that answers it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from roewatch.breeding.pace import Followed, Moment, Pace, WaterState
from roewatch.breeding.plan import Plan, Step
from roewatch.breeding.walk import CHANGE_MS
from roewatch.breeding.warming import Warmth
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch.water import carbonate
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
    ph_swing: how far pH moves by itself between night and day, lamps and breath; the plan's own
    steps leave that much of the daily paces free.
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
    ph_swing: float = 0.0

    def __post_init__(self) -> None:
        within(self.litres, 0.5, 100_000.0, what="tank volume", unit="L")
        within(self.days, 1, MOST_DAYS, what="days")
        within(self.largest_change, 0.01, 0.9, what="largest change, as a share")
        within(self.ph_swing, 0.0, 2.0, what="swing of pH within a day")
        if self.celsius is not None:
            within(self.celsius, 10.0, 36.0, what="wanted temperature", unit="°C")
        if not self.targets and self.celsius is None:
            raise RefusedError("nothing is wanted of this ramp. Give a band or a temperature.")
        if Followed.TEMPERATURE in self.targets:
            raise RefusedError("give the wanted temperature as `celsius`, not as a band.")

    def left_for_steps(self) -> "RampWish":
        """The same wish with the swing of pH taken off its daily paces of pH.

        Raises RampRefusedError where the swing alone is as much as a pace allows.
        """
        if self.ph_swing == 0.0:
            return self
        swing = math.ceil(100.0 * self.ph_swing - 1e-9) / 100.0  # never towards danger
        paces = []
        for pace in self.paces:
            if pace.followed is Followed.PH and not pace.of_value and pace.span_ms >= SETTLED_MS:
                if swing >= min(pace.rise, pace.fall) - 1e-9:
                    raise RampRefusedError(
                        f"pH moves {swing:.2f} by itself between night and day, and no "
                        f"more is allowed: {pace.text()}. Calm that first: more air, longer dusk."
                    )
                pace = replace(  # noqa: PLW2901
                    pace,
                    rise=round(pace.rise - swing, 6),
                    fall=round(pace.fall - swing, 6),
                    source=f"{pace.source}; less {swing:.2f} that pH moves by itself",
                )
            paces.append(pace)
        return replace(self, paces=tuple(paces), ph_swing=0.0)


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


def missed(targets: Mapping[Followed, Window], state: WaterState) -> dict[Followed, Window]:
    """The bands `state` lies outside. Raises RefusedError where it was never measured."""
    found = {}
    for followed, window in targets.items():
        value = state.of(followed)
        if value is None:
            raise RefusedError(
                f"a band of {followed.named} is wanted, but the tank or the recipe has none "
                "measured."
            )
        if window.outside_by(value) != 0.0:
            found[followed] = window
    return found
