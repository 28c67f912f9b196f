"""A comparison: which water, warmth, pair or food gave the better broods, and whether one can say.

Eggs of one clutch share their fate, so the clutch is what is counted, not the egg: how much broods
of one group differ among themselves widens every interval, and few broods give no verdict at all.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from roewatch.breeding.brood import Brood
from roewatch.breeding.interval import LEVEL, Share, student, wilson
from roewatch.breeding.tally import Success, Tally, tally
from roewatch.room.measured import temperature

LEAST_BROODS = 5
"""Fewer of a group give no verdict (assumed: with four, one odd clutch decides)."""

MOST_GROUPS = 12


class Factor(StrEnum):
    """What broods are sorted by; the text value is what pages and commands write."""

    WATER = "water"
    TEMPERATURE = "temperature"
    PARENTS = "parents"
    FOOD = "food"


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempted:
    """One brood, with the mean °C its eggs stood at; None where that was not measured."""

    brood: Brood
    celsius: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Broods alike in one factor. share: None while it cannot be told. trials: eggs or young."""

    name: str
    tallies: tuple[Tally, ...]
    share: Share | None

    @property
    def trials(self) -> float:
        """All its eggs, or young."""
        return sum(one.trials for one in self.tallies)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What the broods say. concluded: whether `verdict` tells a difference.

    overdispersion: how many times more broods of one group differ than chance alone would make
    them. left_out: brood id to why it says nothing. mixed_up: what else differs with the factor.
    """

    factor: Factor
    success: Success
    groups: tuple[Group, ...]
    concluded: bool
    verdict: str
    overdispersion: float
    left_out: Mapping[str, str]
    mixed_up: tuple[str, ...]


def compared(
    attempts: Sequence[Attempted],
    factor: Factor,
    success: Success,
) -> Comparison:
    """Groups of `attempts`, all of one species, by `factor`, with intervals of 95 %.

    Raises ValueError for broods of several species: what differs between them is the species.
    """
    species = sorted({a.brood.species for a in attempts})
    if len(species) > 1:
        raise ValueError(f"broods of {len(species)} species cannot be compared; choose one")
    left_out: dict[str, str] = {}
    sorted_out: dict[str, list[tuple[Attempted, Tally]]] = {}
    for attempt in attempts:
        name = _named(attempt, factor)
        found = tally(attempt.brood, success) if name else f"{factor} not recorded"
        if isinstance(found, str):
            left_out[attempt.brood.id] = found
        else:
            sorted_out.setdefault(name, []).append((attempt, found))
    tallies = {name: tuple(t for _, t in pairs) for name, pairs in sorted(sorted_out.items())}
    spread, freedom = overdispersion(tallies.values())
    groups = tuple(
        Group(name=name, tallies=own, share=_share(own, spread, freedom))
        for name, own in tallies.items()
    )
    concluded, verdict = _verdict(groups, success, spread, freedom)
    alike = {name: [a for a, _ in pairs] for name, pairs in sorted_out.items()}
    return Comparison(
        factor=factor,
        success=success,
        groups=groups,
        concluded=concluded,
        verdict=verdict,
        overdispersion=spread,
        left_out=left_out,
        mixed_up=_mixed_up(alike, factor),
    )


def overdispersion(groups: Iterable[Sequence[Tally]]) -> tuple[float, int]:
    """How many times more broods of a group differ than eggs drawn at random would, and on how many
    degrees of freedom that rests; at least 1.

    Pearson's statistic over its degrees of freedom, all groups together. Source: quasi-likelihood
    of McCullagh and Nelder, Generalized Linear Models, 1989, section 4.5 (from memory).
    """
    total, freedom = 0.0, 0
    for tallies in groups:
        share = _pooled(tallies)
        freedom += len(tallies) - 1
        if 0 < share < 1:
            total += sum(
                one.trials * (one.share - share) ** 2 / (share * (1 - share)) for one in tallies
            )
    return (max(total / freedom, 1.0) if freedom else 1.0), freedom


def _named(attempt: Attempted, factor: Factor) -> str:
    named: dict[Factor, Callable[[], str]] = {
        Factor.WATER: lambda: attempt.brood.water,
        Factor.PARENTS: lambda: attempt.brood.parents,
        Factor.FOOD: lambda: attempt.brood.food,
        Factor.TEMPERATURE: lambda: (
            "" if attempt.celsius is None else temperature(math.floor(attempt.celsius + 0.5), "g")
        ),
    }
    return named[factor]().strip()


def _pooled(tallies: Sequence[Tally]) -> float:
    return sum(one.share * one.trials for one in tallies) / sum(one.trials for one in tallies)


def _interval(tallies: Sequence[Tally], spread: float, quantile: float) -> Share:
    """The pooled share. A range of counts widens it by all that lies within the range."""
    trials = sum(one.trials for one in tallies) / spread
    least = sum(one.low for one in tallies) / sum(one.of_high for one in tallies)
    most = min(sum(one.high for one in tallies) / sum(one.of_low for one in tallies), 1.0)
    return Share(
        value=_pooled(tallies),
        low=wilson(least, trials, quantile).low,
        high=wilson(most, trials, quantile).high,
    )


def _share(tallies: Sequence[Tally], spread: float, freedom: int) -> Share | None:
    if not freedom or len(tallies) < 2:
        return None
    return _interval(tallies, spread, student(freedom, (1 - LEVEL) / 2))


def _verdict(
    groups: Sequence[Group], success: Success, spread: float, freedom: int
) -> tuple[bool, str]:
    if not groups:
        return False, f"Nothing can be said: no brood tells how many were {success}."
    if len(groups) == 1:
        return False, "Nothing can be compared: all broods are alike in this."
    short = [group for group in groups if len(group.tallies) < LEAST_BROODS]
    if len(groups) - len(short) < 2:
        missing = ", ".join(
            f"{LEAST_BROODS - len(group.tallies)} more of {group.name}"
            for group in sorted(short, key=lambda g: -len(g.tallies))[:MOST_GROUPS]
        )
        return False, (
            f"Too few broods to conclude anything: at least {LEAST_BROODS} of each are needed. "
            f"Still missing: {missing}. Whatever the figures look like, they may be chance."
        )
    able = sorted((g for g in groups if g not in short), key=lambda g: -_pooled(g.tallies))
    pairs = [(a, b) for i, a in enumerate(able) for b in able[i + 1 :]]
    quantile = student(freedom, (1 - LEVEL) / 2 / len(pairs))
    told = []
    for better, worse in pairs:
        low, high = _difference(better, worse, spread, quantile)
        if low > 0:
            told.append(
                f"{better.name} gave more than {worse.name}: "
                f"{100 * _pooled(better.tallies):.0f} against "
                f"{100 * _pooled(worse.tallies):.0f} % {success}, "
                f"{100 * low:.0f} to {100 * high:.0f} points more"
            )
    left = f" Left out for having fewer than {LEAST_BROODS}: {len(short)}." if short else ""
    if not told:
        low, high = _difference(able[0], able[-1], spread, quantile)
        return False, (
            f"No difference is shown. {able[0].name} against {able[-1].name} may be anything from "
            f"{100 * low:.0f} to {100 * high:.0f} points.{left}"
        )
    more = f" And {len(told) - 3} more pairs." if len(told) > 3 else ""
    return True, f"{'; '.join(told[:3])}.{more}{left}"


def _difference(better: Group, worse: Group, spread: float, quantile: float) -> tuple[float, float]:
    """Interval of the difference of two shares, from those of each.

    Source: Newcombe, Interval estimation for the difference between independent proportions,
    Statistics in Medicine 17, 1998, method 10 (from memory; checked in the tests).
    """
    a, b = _pooled(better.tallies), _pooled(worse.tallies)
    one = _interval(better.tallies, spread, quantile)
    other = _interval(worse.tallies, spread, quantile)
    below = math.hypot(a - one.low, other.high - b)
    above = math.hypot(one.high - a, b - other.low)
    return a - b - below, a - b + above


def _mixed_up(groups: Mapping[str, Sequence[Attempted]], factor: Factor) -> tuple[str, ...]:
    """Other factors of which every group has one value and not all the same: they may be it."""
    found = []
    for other in Factor:
        if other is factor or len(groups) < 2:
            continue
        values = [{_named(a, other) for a in attempts} - {""} for attempts in groups.values()]
        if all(len(own) == 1 for own in values) and len(set.union(*values)) > 1:
            found.append(
                f"the groups differ in {other} just as they do in {factor}; either may be the cause"
            )
    return tuple(found)
