"""The comparison: which water, warmth, pair or food gave which hatch and survival, and how sure."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from html import escape

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from roewatch.breeding.brood import Brood
from roewatch.breeding.compare import (
    LEAST_BROODS,
    MOST_GROUPS,
    Attempted,
    Comparison,
    Factor,
    Group,
    compared,
)
from roewatch.breeding.tally import Success
from roewatch.views.asked import AskedWrongError
from roewatch.views.pages import Desk, units_of
from roewatch.views.sentence import sentence
from roewatch.views.units import KEPT_UNITS, Units
from roewatch.views.wording import species_name

FACTORS = {
    Factor.WATER: "water",
    Factor.TEMPERATURE: "temperature of the eggs",
    Factor.PARENTS: "parents",
    Factor.FOOD: "food",
}
SUCCESSES = {
    Success.FERTILISED: "fertilised, of the eggs",
    Success.HATCHED: "hatched, of the eggs",
    Success.SWIMMING: "swimming, of those hatched",
    Success.DAY_14: "alive on day 14, of those hatched",
    Success.DAY_30: "alive on day 30, of those hatched",
}
_ROW = 58
_HEAD = 22
_MOST_LEFT_OUT = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """One group in words. share: with its interval, empty while it cannot be told."""

    name: str
    broods: int
    trials: str
    share: str
    few: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the address asks to be compared."""

    species: str
    factor: Factor
    success: Success


def asked_of(query: Mapping[str, str], broods: Iterable[Brood]) -> Asked:
    """What to compare; the species with most broods unless one is named. Raises AskedWrongError."""
    factor, success = query.get("by", Factor.WATER), query.get("what", Success.HATCHED)
    if factor not in set(Factor):
        raise AskedWrongError(f"by: {factor[:40]!r}; there are {', '.join(Factor)}")
    if success not in set(Success):
        raise AskedWrongError(f"what: {success[:40]!r}; there are {', '.join(Success)}")
    counted = Counter(brood.species for brood in broods)
    usual = counted.most_common(1)[0][0] if counted else ""
    species = query.get("species", usual)
    if species not in counted and counted:
        raise AskedWrongError(f"species: there is no brood of {species[:60]!r}")
    return Asked(species=species, factor=Factor(factor), success=Success(success))


def comparison_of(desk: Desk, asked: Asked, broods: Iterable[Brood]) -> Comparison:
    """The comparison of one species' broods."""
    now_ms = desk.live.now_ms()
    attempts = [
        Attempted(brood=brood, celsius=desk.broods.eggs_celsius(brood, now_ms))
        for brood in broods
        if brood.species == asked.species and brood.spawned_ms is not None
    ]
    return compared(attempts, asked.factor, asked.success)


def compare_page(desk: Desk, request: Request) -> Response:
    """The page; whatever is chosen stands in the address."""
    sight, units = desk.lookout.look(), units_of(request)
    broods = desk.broods.broods()
    asked = asked_of(request.query_params, broods)
    comparison = comparison_of(desk, asked, broods)
    counted = Counter(brood.species for brood in broods)
    # those with most broods are drawn; among these the best stands first
    groups = sorted(comparison.groups, key=lambda group: -len(group.tallies))
    shown = sorted(groups[:MOST_GROUPS], key=_middle, reverse=True)
    groups = shown + groups[MOST_GROUPS:]
    return desk.page(
        request,
        "compare.html",
        sight,
        asked=asked,
        species=[(one, species_name(one) or "no species", n) for one, n in counted.most_common()],
        factors=FACTORS,
        successes=SUCCESSES,
        comparison=comparison,
        plot=Markup(intervals_svg(shown, asked, units)),  # noqa: S704 our own drawing
        more=max(len(groups) - MOST_GROUPS, 0),
        rows=[group_row(group) for group in groups],
        spread=spread_words(comparison),
        left_out=left_out(comparison),
        least=LEAST_BROODS,
    )


def _middle(group: Group) -> float:
    return sum(one.share * one.trials for one in group.tallies) / group.trials


def group_row(group: Group) -> GroupRow:
    """A group as the table tells it."""
    return GroupRow(
        name=group.name,
        broods=len(group.tallies),
        trials=f"{group.trials:.0f}",
        share=group.share.text() if group.share else "",
        few=len(group.tallies) < LEAST_BROODS,
    )


def spread_words(comparison: Comparison) -> str:
    """What the spread among broods of one group does to the intervals."""
    if not any(len(group.tallies) > 1 for group in comparison.groups):
        return ""
    if comparison.overdispersion < 1.05:
        return "Broods of one group differ no more than chance makes them."
    return (
        f"Broods of one group differ {comparison.overdispersion:.1f} times as much as chance alone "
        "would make them, so the intervals are that much wider: a clutch counts, not an egg."
    )


def left_out(comparison: Comparison) -> list[tuple[str, str]]:
    """Broods that say nothing, with the reason; the first so many."""
    return sorted(comparison.left_out.items(), reverse=True)[:_MOST_LEFT_OUT]


def intervals_svg(groups: list[Group], asked: Asked, units: Units = KEPT_UNITS) -> str:
    """Each group on a line from 0 to 100 %: its broods as dots, its interval as a bar."""
    height = _HEAD + _ROW * len(groups)
    title = f"{SUCCESSES[asked.success]}, by {FACTORS[asked.factor]}"
    parts = [
        f'<svg class="intervals" height="{height}" role="img" aria-labelledby="i-t">',
        f'<title id="i-t">{escape(title)}</title>',
    ]
    for share in range(0, 101, 25):
        x, anchor = f"{share}%", "start" if share == 0 else "end" if share == 100 else "middle"
        parts.append(
            f'<line class="g-grid" x1="{x}" x2="{x}" y1="{_HEAD}" y2="{height}"/>'
            f'<text class="g-quiet" x="{x}" y="14" text-anchor="{anchor}">{share} %</text>'
        )
    for order, group in enumerate(groups):
        parts += _row(group, units, _HEAD + order * _ROW)
    return "".join([*parts, "</svg>"])


def _row(group: Group, units: Units, top: int) -> Iterable[str]:
    y, dots = top + 28, top + 44
    label = f"{sentence(group.name, units)} ({len(group.tallies)})"
    short = label if len(label) <= 44 else f"{label[:43]}…"
    yield f'<text class="g-text" x="0" y="{top + 15}" dx="2">{escape(short)}</text>'
    if group.share is not None:
        kind = "g-line" if len(group.tallies) >= LEAST_BROODS else "g-thin"
        low, high = (f"{100 * edge:.1f}%" for edge in (group.share.low, group.share.high))
        yield f'<line class="{kind}" x1="{low}" x2="{high}" y1="{y}" y2="{y}"/>'
        x = f"{100 * group.share.value:.1f}%"
        yield f'<line class="g-mean" x1="{x}" x2="{x}" y1="{y - 8}" y2="{y + 8}"/>'
    for tally in group.tallies:
        yield f'<circle class="g-dot" cx="{100 * tally.share:.1f}%" cy="{dots}" r="3.5"/>'
