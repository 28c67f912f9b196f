"""Own broods: what the keeper's own records say of a species, mixed with the sheet's figures.

Few broods move the sheet a little, many leave little of it: both are weighed by how many broods
each is worth, and the weights are told. Nothing is ever taken from another species.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from roewatch.breeding.brood import Brood
from roewatch.breeding.development import Course, Development, Leg
from roewatch.breeding.temperatures import Temperatures
from roewatch.room.moment import HOUR_MS
from roewatch.room.window import Basis

_LEAST_HALF = math.log(1.03)
"""A clutch's own eggs do not hatch at once: 3 % to each side at the least (assumed)."""

_SPREADS = 2.0
"""A window reaches so many standard deviations to each side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnLeg:
    """One leg one own brood went through: in so many hours, at so many °C on the mean."""

    brood: str
    species: str
    leg: Leg
    hours: float
    celsius: float


def own_leg(brood: Brood, leg: Leg, temperatures: Temperatures | None) -> OwnLeg | None:
    """What `brood` says of `leg`; None if an end was not recorded or half of it not measured."""
    start_ms = brood.spawned_ms if leg is Leg.HATCH else brood.hatched_ms
    end_ms = brood.hatched_ms if leg is Leg.HATCH else brood.swimming_ms
    if start_ms is None or end_ms is None or end_ms <= start_ms or temperatures is None:
        return None
    hours = (end_ms - start_ms) / HOUR_MS
    if temperatures.bridged_h(start_ms, end_ms) > hours / 2:
        return None
    return OwnLeg(
        brood=brood.id,
        species=brood.species,
        leg=leg,
        hours=hours,
        celsius=temperatures.mean(start_ms, end_ms),
    )


def mixed(development: Development, own: Sequence[OwnLeg]) -> Development:
    """`development` drawn towards the keeper's own broods of the same species and leg.

    The mean and the spread of the logarithm of the degree-hours are those of a conjugate normal
    estimate in which the sheet counts as `development.weight` broods (textbook form, from memory).
    With no own broods it is the sheet's, unchanged.
    """
    broods = [one for one in own if one.species == development.species]
    broods = [one for one in broods if one.leg is development.leg]
    if not broods:
        return development
    courses = tuple(_drawn(course, development.weight, broods) for course in development.courses)
    count = len(broods)
    whole = development.weight + count
    return replace(
        development,
        courses=courses,
        low=min(development.low, *(one.celsius for one in broods)),
        high=max(development.high, *(one.celsius for one in broods)),
        basis=Basis.KEEPER if count > development.weight else development.basis,
        why=(
            f"your own {count} brood{'s' if count > 1 else ''} weigh{'' if count > 1 else 's'} "
            f"{count} of {whole} and the sheet {development.weight} of {whole}; "
            f"the sheet says: {development.why}"
        ),
    )


def _drawn(course: Course, weight: int, broods: Sequence[OwnLeg]) -> Course:
    logs = [math.log(one.hours * max(one.celsius - course.zero_celsius, 0.1)) for one in broods]
    count = len(logs)
    sheet = math.log(course.likely)
    own = sum(logs) / count
    mean = (weight * sheet + count * own) / (weight + count)
    scatter = sum((log - own) ** 2 for log in logs)
    apart = weight * count / (weight + count) * (sheet - own) ** 2
    seen = _SPREADS**2 * (scatter + apart)

    def half(of_sheet: float) -> float:
        return max(math.sqrt((weight * of_sheet**2 + seen) / (weight + count)), _LEAST_HALF)

    sooner = half(sheet - math.log(max(course.soonest, 0.01 * course.likely)))
    later = half(math.log(course.latest) - sheet)
    return Course(
        zero_celsius=course.zero_celsius,
        soonest=math.exp(mean - sooner),
        likely=math.exp(mean),
        latest=math.exp(mean + later),
    )
