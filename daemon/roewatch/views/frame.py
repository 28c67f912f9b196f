"""A frame: where a chart's moments and values fall on the paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from roewatch.room.quantity import Quantity
from roewatch.views.plot import ChartSpec
from roewatch.views.trace import Point, Trace

GRID = 3000
"""How many steps a fluid chart divides its unknown width into."""

_LEAST_RANGE = {Quantity.TEMPERATURE: 1.0, Quantity.PH: 0.5}
_EVENT_ROW = 24
_NUMBERS = 44
"""Room left of the plot for the numbers; a fluid chart leaves it in the page's style sheet."""

_SIDE = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Scales of one chart. Lengths are pixels; low and high bound what the plot can show.

    A fluid chart has no width: there a moment is a share of the whole, written in per cent.
    """

    from_ms: int
    to_ms: int
    low: float
    high: float
    top: float
    plot: float
    rows: int
    head: float
    foot: float
    width: int | None

    @property
    def left(self) -> float:
        """Where the plot begins."""
        return 0.0 if self.width is None else float(_NUMBERS)

    @property
    def across(self) -> float:
        """How wide the plot is, in its own steps."""
        return float(GRID) if self.width is None else float(self.width - _NUMBERS - _SIDE)

    @property
    def bottom(self) -> float:
        """The y of the plot's lower edge."""
        return self.top + self.plot

    @property
    def height(self) -> float:
        """The height of the whole picture."""
        return self.bottom + self.rows * _EVENT_ROW + 20 + self.foot

    def share(self, at_ms: int) -> float:
        """0 at the left edge, 1 at the right one."""
        return (at_ms - self.from_ms) / (self.to_ms - self.from_ms)

    def x(self, at_ms: int) -> float:
        """Steps from the plot's left edge."""
        return self.share(at_ms) * self.across

    def y(self, value: float) -> float:
        """Pixels from the plot's upper edge; values beyond the plot lie on its edge."""
        share = (self.high - value) / (self.high - self.low)
        return min(1.0, max(0.0, share)) * self.plot

    def at(self, at_ms: int) -> str:
        """An x for text and marks in the outer picture."""
        if self.width is None:
            return f"{100 * self.share(at_ms):.2f}%"
        return f"{self.left + self.x(at_ms):.1f}"

    def row_y(self, row: int) -> float:
        """The middle of a row of events, from the upper edge of the picture."""
        return self.bottom + (row + 0.5) * _EVENT_ROW


def _reach(spec: ChartSpec, traces: Sequence[Trace]) -> tuple[float, float]:
    """The lowest and highest value the plot must show, with air above and below."""
    values = [value for trace in traces for _, value in trace.points]
    for span in spec.windows:
        if span.window:
            values += [b for b in (span.window.low, span.window.high) if b is not None]
    for plan in spec.plans:
        values += [
            step.value for step in plan.steps if spec.from_ms <= step.at_ms <= spec.to_ms
        ] + [v for v in (plan.meant_at(spec.from_ms), plan.meant_at(spec.to_ms)) if v is not None]
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    least = _LEAST_RANGE.get(spec.quantity, max(1.0, abs(high) * 0.05))
    if high - low < least:
        middle = (low + high) / 2
        low, high = middle - least / 2, middle + least / 2
    air = (high - low) * 0.1
    return low - air, high + air


def frame_of(spec: ChartSpec, traces: Sequence[Trace], rows: int) -> Frame:
    """The scales for a chart whose events need so many rows."""
    low, high = _reach(spec, traces)
    head = 0 if spec.width is None else 46
    return Frame(
        from_ms=spec.from_ms,
        to_ms=spec.to_ms,
        low=low,
        high=high,
        top=head + (22.0 if spec.alarms else 4.0),
        plot=float(spec.height),
        rows=rows,
        head=float(head),
        foot=0.0 if spec.width is None else 44.0,
        width=spec.width,
    )


def path(points: Sequence[Point], frame: Frame) -> str:
    """SVG path data through readings, in the plot's own steps, as short as whole steps allow."""
    fluid = frame.width is None
    fine = 10 if fluid else 1
    spots = [(frame.x(at_ms), frame.y(value) * fine) for at_ms, value in points]
    if not fluid:
        joined = " ".join(f"{x:.1f} {y:.1f}" for x, y in spots)
        return f"M{joined}" + ("h.1" if len(spots) == 1 else "")
    whole = [(round(x), round(y)) for x, y in spots]
    text = [f"M{whole[0][0]} {whole[0][1]}"]
    text += [f"l{x - a} {y - b}" for (a, b), (x, y) in pairwise(whole) if (x, y) != (a, b)]
    # a lone reading is a dot: a line of no length with round ends
    return "".join(text) + ("h1" if len(text) == 1 else "")
