"""A brood's counts as its page asks for them: what stands, and a number to step from."""

from collections.abc import Mapping
from dataclasses import dataclass

from roewatch.breeding.brood import Brood
from roewatch.breeding.count import Counted
from roewatch.views.brood_words import COUNTS


@dataclass(frozen=True, slots=True, kw_only=True)
class CountRow:
    """One kind of count: what stands, and what its box is filled with."""

    counted: Counted
    name: str
    text: str
    shown: str
    to: str
    about: bool
    step: int


def count_rows(brood: Brood, query: Mapping[str, str]) -> list[CountRow]:
    """Every kind of count; the one the address speaks of has its box filled from there."""
    return [_count_row(kind, brood, query) for kind in Counted]


def _count_row(kind: Counted, brood: Brood, query: Mapping[str, str]) -> CountRow:
    count = brood.counts.get(kind)
    shown = "" if count is None or kind is Counted.WHITE else str(count.low)
    to = str(count.high) if shown and count is not None and count.high > count.low else ""
    about = bool(shown) and count is not None and count.about
    if query.get("count") == kind and query.get("value", "").isdecimal():
        shown, to, about = query["value"][:9], query.get("to", "")[:9], "about" in query
    if not shown and kind is not Counted.WHITE:
        shown = _guess(kind, brood)
    size = int(shown) if shown.isascii() and shown.isdigit() else 0
    return CountRow(
        counted=kind,
        name=COUNTS[kind],
        text=count.text if count is not None else "",
        shown=shown,
        to=to,
        about=about,
        step=1 if size < 30 else 5 if size < 200 else 10,
    )


def _guess(kind: Counted, brood: Brood) -> str:
    """A number to step from: what was counted before."""
    order: list[Counted] = [k for k in Counted if k is not Counted.WHITE]
    earlier = [brood.counts[k].low for k in order[: order.index(kind)] if k in brood.counts]
    return str(earlier[-1]) if earlier else ""


def rate_words(brood: Brood) -> str:
    """What the counts say of hatch and survival; a range stays a range."""
    parts = []
    for name, part, whole in (
        ("hatched of eggs", Counted.HATCHED, Counted.EGGS),
        ("day 30 of hatched", Counted.DAY_30, Counted.HATCHED),
        ("moved on of eggs", Counted.MOVED_ON, Counted.EGGS),
    ):
        a, b = brood.counts.get(part), brood.counts.get(whole)
        if a is None or b is None or b.low == 0:
            continue
        low, high = 100 * a.low / b.high, min(100 * a.high / b.low, 100.0)
        text = f"{low:.0f} %" if round(low) == round(high) else f"{low:.0f} to {high:.0f} %"
        parts.append(f"{name} {text}")
    return f"{'; '.join(parts)}." if parts else ""


def first_counts(brood: Brood, query: Mapping[str, str]) -> list[Counted]:
    """What is counted in the stage the brood is in; and the one the address speaks of."""
    first: list[Counted] = []
    if brood.ended_ms is not None:
        pass  # over: what is counted now is a correction, and not in the way
    elif brood.swimming_ms is not None:
        ahead = (Counted.SWIMMING, Counted.DAY_14, Counted.DAY_30, Counted.MOVED_ON)
        first = [kind for kind in ahead if kind not in brood.counts][:2]
    elif brood.hatched_ms is not None:
        first = [Counted.HATCHED, Counted.SWIMMING]
    else:
        first = [Counted.EGGS, Counted.WHITE]
    asked = query.get("count", "")
    return [*first, Counted(asked)] if asked in set(Counted) else first
