"""The water a brood had: what each quantity was in each stage, against its window."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from roewatch.breeding.brood import Stay
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.series import Series
from roewatch.room.window import Window
from roewatch.views.hours import hour_rows
from roewatch.views.plot import ChartSpec
from roewatch.views.trace import WindowSpan, trace_of


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterRow:
    """One quantity in one tank during one stage; mean is weighed by time."""

    tank: str
    stage: str
    quantity: Quantity
    from_ms: int
    to_ms: int
    window: Window | None
    mean: float
    lowest: float
    highest: float
    outside_min: int


def water_rows(
    specs: Sequence[tuple[Stay, Quantity, ChartSpec]], first: Mapping[str, str]
) -> list[WaterRow]:
    """The rows in the order of time, then as the charts stand.

    first: by tank, the stage it was in where its charts begin.
    """
    found = []
    for stay, quantity, spec in specs:
        words = [first.get(stay.tank, ""), *(mark.word for mark in spec.stages)]
        for word, span in zip(words, spec.windows, strict=False):
            row = _row(stay.tank, word, quantity, spec, span)
            if row is not None:
                found.append(row)
    return sorted(found, key=lambda row: row.from_ms)


def _row(
    tank: str, stage: str, quantity: Quantity, spec: ChartSpec, span: WindowSpan
) -> WaterRow | None:
    from_ms, to_ms = span.from_ms, min(span.to_ms, spec.now_ms)
    if to_ms - from_ms < MINUTE_MS:
        return None
    traces = [trace_of(_cut(series, from_ms, to_ms), spec.columns) for series in spec.series]
    hours = hour_rows(traces, [span], from_ms=from_ms, to_ms=to_ms, zone=spec.zone)
    told = [hour for hour in hours if hour.mean is not None]
    if not told:
        return None
    return WaterRow(
        tank=tank,
        stage=stage,
        quantity=quantity,
        from_ms=from_ms,
        to_ms=to_ms,
        window=span.window,
        mean=sum(hour.mean or 0.0 for hour in told) / len(told),
        lowest=min(hour.lowest for hour in told if hour.lowest is not None),
        highest=max(hour.highest for hour in told if hour.highest is not None),
        outside_min=sum(hour.outside_min for hour in told),
    )


def _cut(series: Series, from_ms: int, to_ms: int) -> Series:
    kept = [i for i, at_ms in enumerate(series.at_ms) if from_ms <= at_ms < to_ms]
    return replace(
        series,
        at_ms=[series.at_ms[i] for i in kept],
        value=[series.value[i] for i in kept],
        flag=[series.flag[i] for i in kept],
    )
