"""What went otherwise than meant in a brood: forecasts, plans, windows, and what came late."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from roewatch.breeding.brood import Brood, Stay, brood_of
from roewatch.breeding.forecast import Expected
from roewatch.breeding.record import BroodAct
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.views.brood_ports import BroodBook
from roewatch.views.brood_words import BroodWords
from roewatch.views.plot import ChartSpec
from roewatch.views.trace import spells, trace_of
from roewatch.views.units import Units
from roewatch.views.wording import number, whole_span

_PARENTS_MS = HOUR_MS
_WORTH_TELLING_MS = 30 * 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing meant, and how it came. apart: whether it differed."""

    what: str
    meant: str
    came: str
    apart: bool


def differences(
    book: BroodBook,
    brood: Brood,
    specs: Sequence[tuple[Stay, Quantity, ChartSpec]],
    say: BroodWords,
    units: Units,
) -> list[Difference]:
    """Forecasts first, then what was late, then the water against plan and windows."""
    return [
        *_forecasts(book, brood, say),
        *_late(brood, say),
        *_plans(specs, say, units),
        *_windows(specs, units),
    ]


def _forecasts(book: BroodBook, brood: Brood, say: BroodWords) -> Iterator[Difference]:
    """What was told a quarter of the way, by what was known then, against what happened."""
    for name, start_ms, happened_ms in (
        ("hatch", brood.spawned_ms, brood.hatched_ms),
        ("free-swimming", brood.hatched_ms, brood.swimming_ms),
    ):
        if start_ms is None or happened_ms is None or happened_ms <= start_ms:
            continue
        then_ms = start_ms + (happened_ms - start_ms) // 4
        known = [record for record in brood.records if record.at_ms <= then_ms]
        told = book.outlook(brood_of(brood.id, known), then_ms).forecast
        leg = told.hatch if name == "hatch" else told.swimming
        if not isinstance(leg, Expected) or leg.happened:
            continue
        inside = leg.from_ms <= happened_ms <= leg.to_ms
        off_ms = happened_ms - leg.likely_ms
        late = f"{whole_span(abs(off_ms))} {'later' if off_ms > 0 else 'sooner'} than likely"
        yield Difference(
            what=f"{name}, as told {say.when(then_ms)}",
            meant=f"{say.window(leg.from_ms, leg.to_ms)}, likely {say.when(leg.likely_ms)}",
            came=f"{say.when(happened_ms)}: {'inside' if inside else 'outside'}, {late}",
            apart=not inside,
        )


def _late(brood: Brood, say: BroodWords) -> Iterator[Difference]:
    if brood.spawned_ms is not None and brood.parents_out_ms is not None:
        after_ms = brood.parents_out_ms - brood.spawned_ms
        yield Difference(
            what="parents out",
            meant=f"by {say.when(brood.spawned_ms + _PARENTS_MS)}",
            came=f"{say.when(brood.parents_out_ms)}, {whole_span(max(after_ms, 0))} after the eggs",
            apart=after_ms > _PARENTS_MS,
        )
    fed = [record.at_ms for record in brood.records if record.act is BroodAct.FED]
    if brood.swimming_ms is not None:
        first = min((at for at in fed if at >= brood.swimming_ms - DAY_MS), default=None)
        came = "no feeding was recorded" if first is None else say.when(first)
        yield Difference(
            what="first food",
            meant=f"on the day they swam, {say.when(brood.swimming_ms)}",
            came=came,
            apart=first is None or first - brood.swimming_ms > DAY_MS,
        )


def _plans(
    specs: Sequence[tuple[Stay, Quantity, ChartSpec]], say: BroodWords, units: Units
) -> Iterator[Difference]:
    """Each planned step that fell into the brood's time, against the reading nearest to it."""
    for stay, quantity, spec in specs:
        points = [
            point for series in spec.series for point in trace_of(series, spec.columns).points
        ]
        for plan in spec.plans:
            for step in plan.steps:
                if not spec.from_ms <= step.at_ms <= min(spec.to_ms, spec.now_ms) or not points:
                    continue
                at_ms, value = min(points, key=lambda point: abs(point[0] - step.at_ms))
                if abs(at_ms - step.at_ms) > 2 * HOUR_MS:
                    continue
                off = value - step.value
                yield Difference(
                    what=f"plan, {stay.tank} {KEPT[quantity].name}",
                    meant=f"{units.shown(quantity, step.value)} by {say.when(step.at_ms)}",
                    came=f"{units.number(quantity, value)}, "
                    f"{number(quantity, units.difference(quantity, abs(off)))} "
                    f"{'above' if off > 0 else 'below'}",
                    apart=abs(off) > (0.1 if quantity is Quantity.PH else 0.05 * abs(step.value)),
                )


def _windows(
    specs: Sequence[tuple[Stay, Quantity, ChartSpec]], units: Units
) -> Iterator[Difference]:
    for stay, quantity, spec in specs:
        found = [
            spell
            for series in spec.series
            for spell in spells(trace_of(series, spec.columns), spec.windows)
        ]
        out_ms = sum(spell.to_ms - spell.from_ms for spell in found)
        if out_ms < _WORTH_TELLING_MS:
            continue
        worst = max(found, key=lambda s: s.to_ms - s.from_ms)
        yield Difference(
            what=f"window, {stay.tank} {KEPT[quantity].name}",
            meant="inside in every stage",
            came=f"outside for {whole_span(out_ms)} in all, "
            f"{'above' if worst.above else 'below'}, at worst "
            f"{units.number(quantity, worst.worst[1])}",
            apart=True,
        )
