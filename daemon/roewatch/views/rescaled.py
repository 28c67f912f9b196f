"""A chart in the units a browser chose: values, windows and plans, and what its marks say."""

from dataclasses import replace

from roewatch.breeding.plan import Step
from roewatch.room.quantity import Quantity
from roewatch.views.plot import ChartSpec
from roewatch.views.sentence import sentence
from roewatch.views.units import Of, Units


def rescaled(spec: ChartSpec, units: Units) -> ChartSpec:
    """The same chart in the chosen units."""
    spec = replace(
        spec,
        alarms=tuple(replace(mark, text=sentence(mark.text, units)) for mark in spec.alarms),
        events=tuple(replace(mark, text=sentence(mark.text, units)) for mark in spec.events),
    )
    quantity = spec.quantity
    if quantity is not Quantity.TEMPERATURE or not units.changes(Of.WARMTH):
        return spec
    return replace(
        spec,
        unit=units.unit(quantity),
        series=[
            replace(one, value=[units.value(quantity, v) for v in one.value]) for one in spec.series
        ],
        windows=tuple(
            replace(span, window=units.window(quantity, span.window) if span.window else None)
            for span in spec.windows
        ),
        plans=tuple(
            replace(
                plan,
                steps=tuple(
                    Step(at_ms=s.at_ms, value=units.value(quantity, s.value)) for s in plan.steps
                ),
            )
            for plan in spec.plans
        ),
    )
