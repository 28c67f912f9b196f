"""A plot: what one chart shows of one quantity of one tank over a span; values, no drawing.

A plot without a width is fluid: it fills whatever page it stands on and takes its colours from
the page's style sheet; one with a width carries its own colours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from roewatch.breeding.plan import Plan
from roewatch.judging.finding import Forecast
from roewatch.room.moment import moment_of
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.series import Series
from roewatch.views.axis import date_name
from roewatch.views.palette import Theme
from roewatch.views.trace import Trace, WindowSpan, spells, trace_of, window_at
from roewatch.views.wording import clock, number, when, whole_span


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmMark:
    """One alarm along the top edge, from when it began until it ended (None: it still holds)."""

    number: int
    from_ms: int
    to_ms: int | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EventMark:
    """One deed on the lower edge. letter: W, F, D, C, S, H or N. text: what was done."""

    at_ms: int
    letter: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StageMark:
    """A change of stage: a thin upright rule with the new stage's word."""

    at_ms: int
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartSpec:
    """Everything one chart shows.

    from_ms, to_ms: the span drawn; now_ms: the right end of what can be known. columns: into
    how many columns the series was thinned, 0 if it was not. forecast: when the value leaves
    its window. width: pixels, or None for a fluid chart. height: pixels of the plot alone.
    links: marks lead to the records and alarms they speak of. unit: of every value here, None for
    the kept one.
    """

    id: str
    title: str
    quantity: Quantity
    from_ms: int
    to_ms: int
    now_ms: int
    zone: str
    series: Sequence[Series] = ()
    columns: int = 0
    windows: tuple[WindowSpan, ...] = ()
    plans: tuple[Plan, ...] = ()
    alarms: tuple[AlarmMark, ...] = ()
    events: tuple[EventMark, ...] = ()
    stages: tuple[StageMark, ...] = ()
    forecast: Forecast | None = None
    theme: Theme = Theme.NIGHT
    width: int | None = None
    height: int = 220
    links: bool = False
    unit: str | None = None

    def __post_init__(self) -> None:
        if self.from_ms >= self.to_ms:
            raise ValueError(f"chart {self.title}: its span ends before it begins; swap the two")

    def traces(self) -> list[Trace]:
        """The lines to draw, one for each probe that measures this quantity here."""
        return [trace_of(series, self.columns) for series in self.series]


def unit_of(spec: ChartSpec) -> str:
    """The unit the chart's values are in; empty for pH."""
    return KEPT[spec.quantity].unit if spec.unit is None else spec.unit


def _said(spec: ChartSpec, value: float) -> str:
    text = number(spec.quantity, value)
    return f"pH {text}" if spec.quantity is Quantity.PH else f"{text} {unit_of(spec)}"


def _in_words(spec: ChartSpec, at_ms: int) -> str:
    return when(at_ms, spec.now_ms, ZoneInfo(spec.zone))


def summary(spec: ChartSpec) -> str:
    """What the chart shows, in a sentence or three, for those who cannot or need not look."""
    traces = spec.traces()
    points = sorted(point for trace in traces for point in trace.points)
    if not points:
        return f"No readings of {KEPT[spec.quantity].name} in this span."
    low, high = min(points, key=lambda p: p[1]), max(points, key=lambda p: p[1])
    last = points[-1]
    said = (
        f"Last {_said(spec, last[1])} at {_in_words(spec, last[0])}, "
        f"lowest {number(spec.quantity, low[1])} ({_in_words(spec, low[0])}), "
        f"highest {number(spec.quantity, high[1])} ({_in_words(spec, high[0])})."
    )
    parts = [said]
    window = window_at(spec.windows, min(spec.now_ms, spec.to_ms))
    if window:
        out_ms = sum(s.to_ms - s.from_ms for t in traces for s in spells(t, spec.windows))
        outside = f"outside for {whole_span(out_ms)} in all" if out_ms else "never outside"
        bounds = window.text(KEPT[spec.quantity].digits).replace("-", " to ")
        unit = f"\u00a0{unit_of(spec)}" if unit_of(spec) else ""
        parts.append(f"Window {bounds}{unit}; {outside}.")
    holes = [hole for trace in traces for hole in trace.holes()]
    if holes:
        missing = whole_span(sum(b - a for a, b in holes))
        count = "1 gap" if len(holes) == 1 else f"{len(holes)} gaps"
        parts.append(f"{count} without readings, {missing} in all.")
    return " ".join(parts)


def span_words(spec: ChartSpec) -> str:
    """`18 Nov 11:00 to 25 Nov 11:00, Europe/Tallinn`."""
    zone = ZoneInfo(spec.zone)
    ends = [
        f"{date_name(moment_of(at_ms).astimezone(zone).date())} {clock(at_ms, zone)}"
        for at_ms in (spec.from_ms, spec.to_ms)
    ]
    return f"{ends[0]} to {ends[1]}, {spec.zone}"
