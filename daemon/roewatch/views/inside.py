"""Inside: what lies within a chart's plot: bands, rules, the line, the plan, the forecast."""

from collections.abc import Iterable

from roewatch.room.moment import HOUR_MS
from roewatch.room.window import Window
from roewatch.views.frame import path
from roewatch.views.pen import Pen
from roewatch.views.trace import Point, window_at


class Inside:
    """Draws the plot's content, back to front."""

    def __init__(self, pen: Pen) -> None:
        self.pen = pen

    def parts(self) -> Iterable[str]:
        """Everything, as SVG elements."""
        yield from self._bands()
        yield from self._rules()
        yield from self._lines()
        yield from self._plans()  # over the line it is followed by, or it would hide
        yield from self._forecast()

    def _bands(self) -> Iterable[str]:
        fills, edges = [], []
        for span in self.pen.spec.windows:
            if span.window is None:
                continue
            high, low = span.window.high, span.window.low
            top = self.pen.frame.y(high) if high is not None else 0.0
            foot = self.pen.frame.y(low) if low is not None else self.pen.frame.plot
            fills.append(self.pen.box(span, top, foot))
            left, right = (self.pen.frame.x(t) for t in (span.from_ms, span.to_ms))
            for bound, y in ((high, top), (low, foot)):
                if bound is not None:
                    edges.append(f"M{self.pen.n(left, y)}L{self.pen.n(right, y)}")
        if fills:
            yield f'<path {self.pen.style("band")} d="{"".join(fills)}"/>'
            yield f'<path {self.pen.style("edge")} d="{"".join(edges)}"/>'

    def _upright(self, at_ms: int) -> str:
        x = self.pen.frame.x(at_ms)
        return f"M{self.pen.n(x, 0)}L{self.pen.n(x, self.pen.frame.plot)}"

    def _rules(self) -> Iterable[str]:
        spec = self.pen.spec
        marks = "".join(self._upright(mark.at_ms) for mark in self.pen.time_marks())
        foot = self.pen.frame.plot
        base = f"M{self.pen.n(0, foot)}L{self.pen.n(self.pen.frame.across, foot)}"
        yield f'<path {self.pen.style("grid")} d="{marks}{base}"/>'
        if spec.stages:
            rules = "".join(self._upright(mark.at_ms) for mark in spec.stages)
            yield f'<path {self.pen.style("rule")} d="{rules}"/>'
        if spec.from_ms < spec.now_ms < spec.to_ms:
            yield f'<path {self.pen.style("now")} d="{self._upright(spec.now_ms)}"/>'

    def _plans(self) -> Iterable[str]:
        spec = self.pen.spec
        for plan in spec.plans:
            ends = [(t, plan.meant_at(t)) for t in (spec.from_ms, spec.to_ms)]
            inner = [(s.at_ms, s.value) for s in plan.steps if spec.from_ms < s.at_ms < spec.to_ms]
            points = sorted([(t, v) for t, v in ends if v is not None] + inner)
            if len(points) > 1:
                yield f'<path {self.pen.style("plan")} d="{path(points, self.pen.frame)}"/>'

    def _lines(self) -> Iterable[str]:
        outside = self._outside()
        clip = f"{self.pen.spec.id}-o"
        if outside:
            yield f'<clipPath id="{clip}"><path d="{outside}"/></clipPath>'
        for order, trace in enumerate(self.pen.traces):
            line = "".join(path(run, self.pen.frame) for run in trace.runs)
            if not line:
                continue
            # drawn once thin, and once thick where it lies outside
            name = f"{self.pen.spec.id}-l{order}"
            pen = ' vector-effect="non-scaling-stroke"' if self.pen.fluid else ""
            yield f'<defs><path id="{name}"{pen} d="{line}"/></defs>'
            yield f'<use href="#{name}" {self.pen.style("line")}/>'
            if outside:
                thick = f'<use href="#{name}" {self.pen.style("out")}/>'
                yield f'<g clip-path="url(#{clip})">{thick}</g>'

    def _outside(self) -> str:
        """Path data of everything outside the windows, to clip the thick line with."""
        boxes = []
        for span in self.pen.spec.windows:
            if span.window and span.window.high is not None:
                boxes.append(self.pen.box(span, -9, self.pen.frame.y(span.window.high)))
            if span.window and span.window.low is not None:
                foot = self.pen.frame.plot + 9
                boxes.append(self.pen.box(span, self.pen.frame.y(span.window.low), foot))
        return "".join(boxes)

    def _forecast(self) -> Iterable[str]:
        """From the last reading to the window's edge: dotted, between two widening outlines."""
        spec, forecast = self.pen.spec, self.pen.spec.forecast
        points = sorted(point for trace in self.pen.traces for point in trace.points[-1:])
        window = window_at(spec.windows, spec.now_ms)
        if forecast is None or forecast.likely_ms is None or not points or window is None:
            return
        last = points[-1]
        edge = self._edge_ahead(window, last)
        if edge is None:
            return
        for name, at_ms in (
            ("fore", forecast.likely_ms),
            ("wide", forecast.earliest_ms),
            ("wide", forecast.latest_ms),
        ):
            if at_ms is not None and last[0] < at_ms:
                end = min(at_ms, spec.to_ms)
                share = (end - last[0]) / (at_ms - last[0])
                reached = (end, last[1] + share * (edge - last[1]))
                yield f'<path {self.pen.style(name)} d="{path([last, reached], self.pen.frame)}"/>'

    def _edge_ahead(self, window: Window, last: Point) -> float | None:
        """The edge a value moves towards, by where it was an hour ago."""
        before = [
            value
            for trace in self.pen.traces
            for at_ms, value in trace.points
            if last[0] - 2 * HOUR_MS <= at_ms <= last[0] - HOUR_MS // 2
        ]
        falling = bool(before) and last[1] < sum(before) / len(before)
        if window.outside_by(last[1]):
            return window.low if window.outside_by(last[1]) < 0 else window.high
        return window.low if falling else window.high
