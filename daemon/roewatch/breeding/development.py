"""A development: how many degree-hours one leg of a species' young takes, and who says so."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from roewatch.room.measured import CELSIUS, measured, temperature
from roewatch.room.quantity import Quantity
from roewatch.room.species import HatchFact, SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.room.staging import StagingFormula
from roewatch.room.window import Basis


class Leg(StrEnum):
    """A leg of a brood's way; the text value is what species sheets write."""

    HATCH = "hatch"  # counts from spawning
    SWIMMING = "free-swimming"  # counts from hatching


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One law of warmth: °C at which development stands still, and the °C·h above it to the event.

    soonest, likely, latest: °C·h of the first, the middle and the last young.
    """

    zero_celsius: float
    soonest: float
    likely: float
    latest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Development:
    """What is known of one leg of one species.

    courses: the likely law first; more where no relative's figures decide between laws.
    low, high: °C between which the figures were measured. weight: how many of the keeper's own
    broods it outweighs. why: how it came about, for people.
    """

    species: str
    leg: Leg
    courses: tuple[Course, ...]
    low: float
    high: float
    weight: int
    basis: Basis
    source: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CannotSay:
    """Why nothing can be forecast of a leg, for people."""

    leg: Leg
    why: str


def development_of(
    sheet: SpeciesSheet, leg: Leg, sheets: Mapping[str, SpeciesSheet]
) -> Development | CannotSay:
    """The development of `leg` from the sheet's figures; `sheets` holds the relatives by id.

    Figures at two temperatures give the law of warmth themselves. One temperature gives a point,
    and the law is taken from the relative the sheet names, else from every species that has one:
    then the window takes in all of them.
    """
    facts = [fact for fact in sheet.hatch if fact.what == leg]
    if not facts:
        what = "hatch" if leg is Leg.HATCH else "free-swimming"
        return CannotSay(leg=leg, why=f"cannot say: no {what} figure for {sheet.latin}")
    if not all(_celsius(fact, sheet, leg) for fact in facts):
        return CannotSay(
            leg=leg,
            why=f"cannot say: {sheet.latin}'s {leg} figure is told without a temperature, and the "
            "sheet has no temperature window to take it for",
        )
    zero = _own_zero(sheet)
    if zero is not None:
        laws: tuple[float, ...] = (zero,)
        formula = "staging formula" if sheet.staging else "figures at several temperatures"
        whose = f"How warmth speeds it comes from its own {formula}"
    else:
        laws, whose = _borrowed(sheet, sheets)
    reference = sheet.staging
    courses = tuple(_course(facts, sheet, leg, law, reference) for law in laws)
    temperatures = [c for fact in facts for c in _celsius(fact, sheet, leg)]
    assumed = zero is None or any(fact.celsius is None for fact in facts)
    return Development(
        species=sheet.id,
        leg=leg,
        courses=courses,
        low=reference.low if reference else min(temperatures),
        high=reference.high if reference else max(temperatures),
        weight=_weight(facts, assumed=assumed),
        basis=Basis.ASSUMED if assumed else _weakest(facts),
        source="; ".join(dict.fromkeys(fact.source for fact in facts)),
        why=_why(sheet, facts, leg, whose),
    )


def _own_zero(sheet: SpeciesSheet) -> float | None:
    """°C of no development from the sheet's own formula or from two temperatures, else None."""
    if sheet.staging is not None:
        return sheet.staging.zero_celsius
    points = sorted(
        (fact.celsius, 2 / (fact.from_h + fact.to_h))
        for fact in sheet.hatch
        if fact.what == Leg.HATCH and fact.celsius is not None
    )
    if len(points) < 2 or points[-1][0] - points[0][0] < 2.0:
        return None
    # least squares of the rate on temperature; through both points where there are two
    mean_c = sum(c for c, _ in points) / len(points)
    mean_r = sum(r for _, r in points) / len(points)
    above = sum((c - mean_c) * (r - mean_r) for c, r in points)
    slope = above / sum((c - mean_c) ** 2 for c, _ in points)
    return mean_c - mean_r / slope if slope > 0 else None


def _borrowed(
    sheet: SpeciesSheet, sheets: Mapping[str, SpeciesSheet]
) -> tuple[tuple[float, ...], str]:
    relative = sheets.get(sheet.like)
    zero = _own_zero(relative) if relative is not None else None
    if relative is not None and zero is not None:
        return (zero,), f"How warmth speeds it is taken from {relative.latin} (assumed)"
    known = sorted(zero for other in sheets.values() if (zero := _own_zero(other)) is not None)
    if not known:
        # no law at all: an event that takes the same hours in any water within the window
        return (-273.15,), "No species says how warmth speeds it: taken as the same hours (assumed)"
    middle = known[len(known) // 2]
    others = tuple(zero for zero in known if zero != middle)
    return (middle, *others), (
        "No relative says how warmth speeds it, so the window takes in all that the "
        f"{len(known)} species that were measured would make of it (assumed)"
    )


def _course(
    facts: list[HatchFact],
    sheet: SpeciesSheet,
    leg: Leg,
    zero: float,
    staging: StagingFormula | None,
) -> Course:
    soonest, middles, latest = [], [], []
    for fact in facts:
        if staging is not None and fact.celsius == staging.reference:
            # the formula's own stages: hours at the reference, whose rate is 0.9975 and not 1
            low = high = 1 / staging.per_celsius
        else:
            temperatures = _celsius(fact, sheet, leg)
            low, high = min(temperatures) - zero, max(temperatures) - zero
        # one figure is no spread: a tenth to each side (assumed)
        single = staging is None and (fact.from_h == fact.to_h or len(facts) == 1)
        middle = (fact.from_h + fact.to_h) / 2
        soonest.append(low * (min(fact.from_h, 0.9 * middle) if single else fact.from_h))
        middles.append((low + high) / 2 * middle)
        latest.append(high * (max(fact.to_h, 1.1 * middle) if single else fact.to_h))
    middles.sort()
    likely = (middles[(len(middles) - 1) // 2] + middles[len(middles) // 2]) / 2
    return Course(zero_celsius=zero, soonest=min(soonest), likely=likely, latest=max(latest))


def _celsius(fact: HatchFact, sheet: SpeciesSheet, leg: Leg) -> tuple[float, ...]:
    """The °C of a figure; where it was told without one, the bounds of the stage's window."""
    if fact.celsius is not None:
        return (fact.celsius,)
    stage = Stage.EGGS if leg is Leg.HATCH else Stage.LARVAE
    window = sheet.window(stage, Quantity.TEMPERATURE)
    ends = [end for end in (window.low, window.high) if end is not None] if window else []
    return tuple(ends)


def _weight(facts: list[HatchFact], *, assumed: bool) -> int:
    if assumed or _weakest(facts) is not Basis.PUBLISHED:
        return 1
    return 4 if len({fact.celsius for fact in facts}) > 1 else 2


_ORDER = (Basis.PUBLISHED, Basis.KEEPER, Basis.COMMON_PRACTICE, Basis.FROM_MEMORY, Basis.ASSUMED)


def _weakest(facts: list[HatchFact]) -> Basis:
    return max((fact.basis for fact in facts), key=_ORDER.index)


def _why(sheet: SpeciesSheet, facts: list[HatchFact], leg: Leg, whose: str) -> str:
    said = []
    for fact in facts:
        hours = f"{fact.from_h:g}-{fact.to_h:g}" if fact.from_h < fact.to_h else f"{fact.to_h:g}"
        if fact.celsius is not None:
            at = f"at {temperature(fact.celsius, 'g')}"
        else:
            ends = _celsius(fact, sheet, leg)
            taken = measured(f"{min(ends):g}-{max(ends):g}", CELSIUS)
            at = f"told without a temperature, taken for {taken}"
        said.append(f"{hours} h {at} ({fact.basis})")
    return f"{'; '.join(said)}. {whose}"
