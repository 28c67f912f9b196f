"""A forecast: when a brood's eggs will hatch and its larvae swim, as windows that narrow."""

from collections.abc import Mapping
from dataclasses import dataclass

from roewatch.breeding.clock import TOO_WARM, gathered, hours_at_or_above
from roewatch.breeding.development import CannotSay, Course, Development, Leg
from roewatch.breeding.temperatures import Temperatures
from roewatch.room.measured import temperature
from roewatch.room.window import Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """When a leg ends: the first young, the middle and the last.

    happened: it was recorded, and the three are that moment. done: the share of the likely
    degree-hours gathered by now, 0 to 1. why: on what it stands, for people.
    """

    leg: Leg
    from_ms: int
    likely_ms: int
    to_ms: int
    happened: bool = False
    done: float = 0.0
    basis: Basis = Basis.ASSUMED
    why: str = ""

    @property
    def width_ms(self) -> int:
        """How long the window is."""
        return self.to_ms - self.from_ms

    def overdue(self, now_ms: int) -> bool:
        """Whether it should have happened by `now_ms` and was not recorded."""
        return not self.happened and now_ms > self.to_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class BroodForecast:
    """Both legs of a brood, each as a window or with the reason why there is none."""

    hatch: Expected | CannotSay
    swimming: Expected | CannotSay

    def expected(self, leg: Leg) -> Expected | None:
        """The window of `leg`, if there is one."""
        found = self.hatch if leg is Leg.HATCH else self.swimming
        return found if isinstance(found, Expected) else None


def forecast(
    *,
    developments: Mapping[Leg, Development | CannotSay],
    temperatures: Temperatures | None,
    spawned_ms: int | None,
    now_ms: int,
    hatched_ms: int | None = None,
    swimming_ms: int | None = None,
) -> BroodForecast:
    """Hatch and free-swimming of one brood.

    temperatures: of the brood's water from spawning on; None when neither a probe nor a plan says.
    What happened (`hatched_ms`, `swimming_ms`) replaces what was forecast, and the rest starts
    from it.
    """
    if hatched_ms is not None:
        hatch: Expected | CannotSay = _happened(Leg.HATCH, hatched_ms)
    elif swimming_ms is not None:
        hatch = CannotSay(leg=Leg.HATCH, why="the young swim, but nobody recorded the hatch")
    elif spawned_ms is None:
        hatch = CannotSay(leg=Leg.HATCH, why="no eggs recorded yet")
    else:
        start = _happened(Leg.HATCH, spawned_ms)
        hatch = _expected(developments[Leg.HATCH], temperatures, start, now_ms)
    if swimming_ms is not None:
        return BroodForecast(hatch=hatch, swimming=_happened(Leg.SWIMMING, swimming_ms))
    if isinstance(hatch, CannotSay):
        return BroodForecast(hatch=hatch, swimming=CannotSay(leg=Leg.SWIMMING, why=hatch.why))
    swimming = _expected(developments[Leg.SWIMMING], temperatures, hatch, now_ms)
    return BroodForecast(hatch=hatch, swimming=swimming)


def _happened(leg: Leg, at_ms: int) -> Expected:
    return Expected(
        leg=leg,
        from_ms=at_ms,
        likely_ms=at_ms,
        to_ms=at_ms,
        happened=True,
        done=1.0,
        basis=Basis.KEEPER,
        why="as recorded",
    )


def _expected(
    development: Development | CannotSay,
    temperatures: Temperatures | None,
    start: Expected,
    now_ms: int,
) -> Expected | CannotSay:
    if isinstance(development, CannotSay):
        return development
    if temperatures is None:
        return CannotSay(
            leg=development.leg,
            why="cannot say: no temperature of this water is known, neither from a probe nor from "
            "a plan",
        )
    refused = _too_warm(temperatures, start.from_ms)
    if refused:
        return CannotSay(leg=development.leg, why=refused)
    ends = [_ends(course, temperatures, start) for course in development.courses]
    found = [end for end in ends if end is not None]
    if len(found) < len(ends):
        return CannotSay(
            leg=development.leg,
            why=f"cannot say: at {temperature(temperatures.ahead)} development all but stands "
            "still",
        )
    first = development.courses[0]
    sums = gathered(temperatures, first.zero_celsius)
    so_far = sums.until(max(now_ms, start.likely_ms)) - sums.until(start.likely_ms)
    return Expected(
        leg=development.leg,
        from_ms=min(soonest for soonest, _, _ in found),
        likely_ms=found[0][1],
        to_ms=max(latest for _, _, latest in found),
        done=min(so_far / first.likely, 1.0),
        basis=development.basis,
        why=_why(development, temperatures, start, now_ms),
    )


def _ends(
    course: Course, temperatures: Temperatures, start: Expected
) -> tuple[int, int, int] | None:
    """Soonest, likely and latest moment by one law; None if one of them is never reached."""
    found = []
    for from_ms, wanted, warmer in (
        (start.from_ms, course.soonest, temperatures.unsure),
        (start.likely_ms, course.likely, 0.0),
        (start.to_ms, course.latest, -temperatures.unsure),
    ):
        sums = gathered(temperatures, course.zero_celsius, warmer)
        moment = sums.reached(wanted, from_ms)
        if moment is None:
            return None
        found.append(moment)
    return found[0], found[1], found[2]


def _too_warm(temperatures: Temperatures, from_ms: int) -> str:
    if temperatures.ahead >= TOO_WARM:
        return (
            f"outside the range: nothing is forecast at {temperature(temperatures.ahead)}; from "
            f"{temperature(TOO_WARM, 'g')} embryos come to harm. Cool the water gently."
        )
    hours = hours_at_or_above(temperatures, TOO_WARM, from_ms)
    if hours >= 0.5:
        return (
            f"outside the range: the water stood at {temperature(TOO_WARM, 'g')} or more for "
            f"{hours:.1f} h, and no figure tells how such eggs go on"
        )
    return ""


def _why(development: Development, temperatures: Temperatures, start: Expected, now_ms: int) -> str:
    parts = [development.why]
    if not temperatures.at_ms:
        parts.append(f"no reading yet: taken as {temperature(temperatures.ahead)} throughout")
    else:
        parts.append(f"the water goes on at {temperature(temperatures.ahead)}")
        until = max(temperatures.last_ms or now_ms, start.from_ms)
        bridged = temperatures.bridged_h(start.from_ms, min(until, now_ms))
        if bridged >= 1.0:
            parts.append(f"{bridged:.0f} h without readings were bridged")
    if not development.low - 0.5 <= temperatures.ahead <= development.high + 0.5:
        between = (
            f"at {temperature(development.low, 'g')}"
            if development.low == development.high
            else f"between {temperature(development.low, 'g')} and "
            f"{temperature(development.high, 'g')}"
        )
        parts.append(f"reckoned beyond the figures, which were taken {between}")
    return ". ".join(part[0].upper() + part[1:] for part in parts) + "."
