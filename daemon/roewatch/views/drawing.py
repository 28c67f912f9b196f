"""A drawing: a chart as SVG text, written by hand so that it needs no library and no script."""

import textwrap
from collections.abc import Iterable, Sequence
from html import escape
from zoneinfo import ZoneInfo

from roewatch.room.quantity import KEPT
from roewatch.views.axis import TimeMark, time_marks, value_marks
from roewatch.views.frame import GRID, Frame, frame_of, path
from roewatch.views.palette import PALETTES, Palette
from roewatch.views.plot import ChartSpec, EventMark, span_words, summary
from roewatch.views.trace import Spell, Trace, WindowSpan, spells, window_at
from roewatch.views.wording import number

_FONT = "DejaVu Sans, Liberation Sans, Noto Sans, Arial, sans-serif"
_MOST_MARKS = 6
_TRIANGLE = "M0-8 8 6H-8Z"


def _paints(colours: Palette) -> dict[str, str]:
    """Presentation attributes by class; a page's style sheet says the same in its own words."""
    line = 'fill="none" stroke-linejoin="round" stroke-linecap="round"'
    return {
        "band": f'fill="{colours.band}"',
        "edge": f'fill="none" stroke="{colours.band_edge}" stroke-width="1.5"',
        "grid": f'fill="none" stroke="{colours.grid}"',
        "line": f'{line} stroke="{colours.measured}" stroke-width="2"',
        "out": f'{line} stroke="{colours.outside}" stroke-width="4.5"',
        "plan": f'fill="none" stroke="{colours.plan}" stroke-width="2" stroke-dasharray="8 5"',
        "fore": f'fill="none" stroke="{colours.measured}" stroke-width="2" stroke-dasharray="2 5"',
        "wide": f'fill="none" stroke="{colours.measured}" stroke-dasharray="1 3"',
        "rule": f'fill="none" stroke="{colours.quiet}"',
        "now": f'fill="none" stroke="{colours.text}"',
        "bad": f'fill="none" stroke="{colours.quiet}" stroke-width="1.5"',
        "mark": f'fill="{colours.outside}" stroke="{colours.page}"',
        "bang": f'fill="{colours.page}" font-size="9" font-weight="bold" text-anchor="middle"',
        "text": f'fill="{colours.text}" font-size="13"',
        "quiet": f'fill="{colours.quiet}" font-size="12"',
        "halo": f'fill="{colours.text}" stroke="{colours.page}" stroke-width="3"'
        ' paint-order="stroke" font-size="12"',
        "tick": f'fill="{colours.quiet}" stroke="{colours.page}" stroke-width="3"'
        ' paint-order="stroke" font-size="12"',
        "title": f'fill="{colours.text}" font-size="17" font-weight="bold"',
        "chip": f'fill="{colours.page}" stroke="{colours.quiet}"',
    }


class Drawing:
    """One chart on its way to being SVG text."""

    def __init__(self, spec: ChartSpec) -> None:
        self._spec = spec
        self._traces = spec.traces()
        self._rows = _event_rows(spec)
        rows = 1 + max((row for _, row in self._rows), default=-1)
        self._frame = frame_of(spec, self._traces, rows)
        self._fluid = spec.width is None
        self._paints = {} if self._fluid else _paints(PALETTES[spec.theme])

    def _as(self, name: str) -> str:
        return f'class="c-{name}"' if self._fluid else self._paints[name]

    def text(self) -> str:
        """The whole picture."""
        spec, frame = self._spec, self._frame
        colours = PALETTES[spec.theme]
        if self._fluid:
            size = f'class="chart" width="100%" height="{frame.height:.0f}" {_scales(spec, frame)}'
        else:
            size = (
                f'width="{spec.width}" height="{frame.height:.0f}" '
                f'viewBox="0 0 {spec.width} {frame.height:.0f}" font-family="{_FONT}"'
            )
        body = [
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} {_named(spec)}>',
            f'<title id="{spec.id}-t">{escape(spec.title)}, {escape(span_words(spec))}</title>',
            f'<desc id="{spec.id}-d">{escape(summary(spec))}</desc>',
        ]
        if not self._fluid:
            body.append(f'<rect width="100%" height="100%" fill="{colours.page}"/>')
            body += self._head()
        body += [*self._plot(), *self._numbers(), *self._worst(), *self._alarms(), *self._events()]
        if not self._fluid:
            body += self._foot()
        body.append("</svg>")
        return "".join(body)

    # what lies inside the plot, in its own steps

    def _plot(self) -> Iterable[str]:
        frame = self._frame
        if self._fluid:
            yield (
                f'<svg y="{frame.top:.0f}" width="100%" height="{frame.plot:.0f}" '
                f'viewBox="0 0 {GRID} {frame.plot * 10:.0f}" preserveAspectRatio="none" '
                'class="plot">'
            )
        else:
            yield f'<g transform="translate({frame.left:.0f} {frame.top:.0f})">'
        yield from self._bands()
        yield from self._rules()
        yield from self._plans()
        yield from self._lines()
        yield from self._forecast()
        yield "</svg>" if self._fluid else "</g>"

    def _n(self, x: float, y: float) -> str:
        return f"{x:.0f} {y * 10:.0f}" if self._fluid else f"{x:.1f} {y:.1f}"

    def _box(self, span: WindowSpan, high: float, low: float) -> str:
        """Path data of a box between two heights, in pixels from the plot's upper edge."""
        left, right = (self._frame.x(t) for t in (span.from_ms, span.to_ms))
        return (
            f"M{self._n(left, high)}L{self._n(right, high)} "
            f"{self._n(right, low)} {self._n(left, low)}Z"
        )

    def _bands(self) -> Iterable[str]:
        fills, edges = [], []
        for span in self._spec.windows:
            if span.window is None:
                continue
            high, low = span.window.high, span.window.low
            top = self._frame.y(high) if high is not None else 0.0
            foot = self._frame.y(low) if low is not None else self._frame.plot
            fills.append(self._box(span, top, foot))
            left, right = (self._frame.x(t) for t in (span.from_ms, span.to_ms))
            for bound, y in ((high, top), (low, foot)):
                if bound is not None:
                    edges.append(f"M{self._n(left, y)}L{self._n(right, y)}")
        if fills:
            yield f'<path {self._as("band")} d="{"".join(fills)}"/>'
            yield f'<path {self._as("edge")} d="{"".join(edges)}"/>'

    def _upright(self, at_ms: int) -> str:
        x = self._frame.x(at_ms)
        return f"M{self._n(x, 0)}L{self._n(x, self._frame.plot)}"

    def _rules(self) -> Iterable[str]:
        spec = self._spec
        marks = "".join(self._upright(mark.at_ms) for mark in self._time_marks())
        base = f"M{self._n(0, self._frame.plot)}L{self._n(self._frame.across, self._frame.plot)}"
        yield f'<path {self._as("grid")} d="{marks}{base}"/>'
        if spec.stages:
            rules = "".join(self._upright(mark.at_ms) for mark in spec.stages)
            yield f'<path {self._as("rule")} d="{rules}"/>'
        if spec.from_ms < spec.now_ms < spec.to_ms:
            yield f'<path {self._as("now")} d="{self._upright(spec.now_ms)}"/>'

    def _plans(self) -> Iterable[str]:
        spec = self._spec
        for plan in spec.plans:
            ends = [(t, plan.meant_at(t)) for t in (spec.from_ms, spec.to_ms)]
            inner = [(s.at_ms, s.value) for s in plan.steps if spec.from_ms < s.at_ms < spec.to_ms]
            points = sorted([(t, v) for t, v in ends if v is not None] + inner)
            if len(points) > 1:
                yield f'<path {self._as("plan")} d="{path(points, self._frame)}"/>'

    def _lines(self) -> Iterable[str]:
        outside = self._outside()
        clip = f"{self._spec.id}-o"
        if outside:
            yield f'<clipPath id="{clip}"><path d="{outside}"/></clipPath>'
        for order, trace in enumerate(self._traces):
            line = "".join(path(run, self._frame) for run in trace.runs)
            if not line:
                continue
            # drawn once thin, and once thick where it lies outside
            name = f"{self._spec.id}-l{order}"
            pen = ' vector-effect="non-scaling-stroke"' if self._fluid else ""
            yield f'<defs><path id="{name}"{pen} d="{line}"/></defs>'
            yield f'<use href="#{name}" {self._as("line")}/>'
            if outside:
                yield f'<g clip-path="url(#{clip})"><use href="#{name}" {self._as("out")}/></g>'

    def _outside(self) -> str:
        """Path data of everything outside the windows, to clip the thick line with."""
        boxes = []
        for span in self._spec.windows:
            if span.window and span.window.high is not None:
                boxes.append(self._box(span, -9, self._frame.y(span.window.high)))
            if span.window and span.window.low is not None:
                foot = self._frame.plot + 9
                boxes.append(self._box(span, self._frame.y(span.window.low), foot))
        return "".join(boxes)

    def _forecast(self) -> Iterable[str]:
        """From the last reading to the window's edge: dotted, between two widening outlines."""
        spec, forecast = self._spec, self._spec.forecast
        points = sorted(point for trace in self._traces for point in trace.points[-1:])
        window = window_at(spec.windows, spec.now_ms)
        if forecast is None or forecast.likely_ms is None or not points or window is None:
            return
        last = points[-1]
        bounds = [b for b in (window.low, window.high) if b is not None]
        edge = min(bounds, key=lambda bound: abs(bound - last[1]))
        for name, at_ms in (
            ("fore", forecast.likely_ms),
            ("wide", forecast.earliest_ms),
            ("wide", forecast.latest_ms),
        ):
            if at_ms is not None and last[0] < at_ms:
                end = min(at_ms, spec.to_ms)
                share = (end - last[0]) / (at_ms - last[0])
                reached = (end, last[1] + share * (edge - last[1]))
                yield f'<path {self._as(name)} d="{path([last, reached], self._frame)}"/>'

    # what is written and marked over it, in pixels

    def _time_marks(self) -> list[TimeMark]:
        return time_marks(self._spec.from_ms, self._spec.to_ms, ZoneInfo(self._spec.zone))

    def _say(self, name: str, x: str, y: float, words: str, anchor: str = "start") -> str:
        shift = {"start": 4, "middle": 0, "end": -4}[anchor]
        return (
            f'<text {self._as(name)} x="{x}" y="{y:.0f}" dx="{shift}" text-anchor="{anchor}">'
            f"{escape(words)}</text>"
        )

    def _anchor(self, at_ms: int) -> str:
        share = self._frame.share(at_ms)
        return "start" if share < 0.04 else "end" if share > 0.95 else "middle"

    def _numbers(self) -> Iterable[str]:
        spec, frame = self._spec, self._frame
        for mark in self._time_marks():
            y = frame.bottom + frame.rows * 24 + 15
            if frame.share(mark.at_ms) <= 0.96:  # a word there would run into the one before it
                words, anchor = mark.text, self._anchor(mark.at_ms)
                yield self._say("quiet", frame.at(mark.at_ms), y, words, anchor)
        for value in value_marks(frame.low, frame.high):
            y = frame.top + frame.y(value)
            if frame.top + 8 < y < frame.bottom - 4:
                words = f"{value:.{_digits(frame)}f}"
                yield self._say("tick", frame.at(spec.from_ms), y + 4, words)
        last = spec.windows[-1].window if spec.windows else None
        if last:
            for bound, down in ((last.high, -5), (last.low, 14)):
                if bound is not None:
                    y = frame.top + frame.y(bound) + down
                    words = number(spec.quantity, bound)
                    yield self._say("halo", frame.at(spec.to_ms), y, words, "end")
        for stage in spec.stages:
            late = frame.share(stage.at_ms) > 0.7
            anchor = "end" if late else "start"
            yield self._say("halo", frame.at(stage.at_ms), frame.top + 12, stage.word, anchor)

    def _spot(self, at_ms: int, y: float, body: str) -> str:
        """Something drawn around a point of the outer picture, at its true size."""
        x = self._frame.at(at_ms)
        if self._fluid:
            return f'<svg x="{x}" y="{y:.0f}" class="spot">{body}</svg>'
        return f'<g transform="translate({x} {y:.1f})">{body}</g>'

    def _warning(self, at_ms: int, y: float) -> str:
        body = f'<path {self._as("mark")} d="{_TRIANGLE}"/><text {self._as("bang")} y="5">!</text>'
        return self._spot(at_ms, y, body)

    def _worst(self) -> Iterable[str]:
        """A mark and a number at the worst reading of each time outside; the worst few only."""
        found: list[Spell] = []
        for trace in self._traces:
            found += spells(trace, self._spec.windows)
        marked: list[int] = []
        for spell in sorted(found, key=self._harm, reverse=True):
            at_ms, value = spell.worst
            if len(marked) == _MOST_MARKS or any(
                abs(self._frame.share(at_ms) - self._frame.share(other)) < 0.06 for other in marked
            ):
                continue  # a worse one is marked beside it
            marked.append(at_ms)
            y = self._frame.top + self._frame.y(value)
            yield self._warning(at_ms, y - 12 if spell.above else y + 14)
        for trace in self._traces:
            yield from self._crosses(trace)

    def _harm(self, spell: Spell) -> float:
        window = window_at(self._spec.windows, spell.worst[0])
        return abs(window.outside_by(spell.worst[1])) if window else 0.0

    def _crosses(self, trace: Trace) -> Iterable[str]:
        """Readings the judge does not believe: crosses, on the plot's edge when they lie beyond."""
        cross = f'<path {self._as("bad")} d="M-4-4 4 4M4-4-4 4"/>'
        step = max(1, len(trace.disbelieved) // 40)
        for at_ms, value in trace.disbelieved[::step]:
            yield self._spot(at_ms, self._frame.top + self._frame.y(value), cross)

    def _alarms(self) -> Iterable[str]:
        spec, frame = self._spec, self._frame
        y = frame.top - 9
        for alarm in spec.alarms:
            begin = max(alarm.from_ms, spec.from_ms)
            end = min(alarm.to_ms if alarm.to_ms is not None else spec.now_ms, spec.to_ms)
            bar = (
                f'<line {self._as("out")} x1="{frame.at(begin)}" x2="{frame.at(max(begin, end))}" '
                f'y1="{y:.0f}" y2="{y:.0f}"/>{self._warning(begin, y)}'
                f"<title>{escape(alarm.text)}</title>"
            )
            if spec.links:
                yield f'<a href="/alarms#no-{alarm.number}">{bar}</a>'
            else:
                yield f"<g>{bar}</g>"

    def _events(self) -> Iterable[str]:
        for event, row in self._rows:
            letter = escape(event.letter)
            body = (
                f'<rect {self._as("chip")} x="-9" y="-9" width="18" height="18" rx="4"/>'
                f'<text {self._as("quiet")} y="4" text-anchor="middle">{letter}</text>'
                f"<title>{escape(event.text)}</title>"
            )
            spot = self._spot(event.at_ms, self._frame.row_y(row), body)
            if self._spec.links:
                yield f'<a href="#e-{event.at_ms}">{spot}</a>'
            else:
                yield spot

    def _head(self) -> Iterable[str]:
        yield self._say("title", "12", 24, self._spec.title)
        yield self._say("quiet", "12", 41, span_words(self._spec))

    def _foot(self) -> Iterable[str]:
        y = self._frame.height - 26
        for order, line in enumerate(_wrapped(summary(self._spec), (self._spec.width or 0) // 7)):
            if order < 2:
                yield self._say("quiet", "12", y + 16 * order, line)


def _digits(frame: Frame) -> int:
    marks = value_marks(frame.low, frame.high)
    step = marks[1] - marks[0] if len(marks) > 1 else 1.0
    return 0 if step >= 1 else 1 if step >= 0.1 else 2


def _wrapped(text: str, columns: int) -> list[str]:
    return textwrap.wrap(text, max(columns, 20))


def _event_rows(spec: ChartSpec) -> Sequence[tuple[EventMark, int]]:
    """Each event in the first row where it overlaps no other on a phone's width; three rows."""
    least = (spec.to_ms - spec.from_ms) * 24 // (340 if spec.width is None else spec.width)
    ends: list[int] = []
    placed = []
    for event in sorted(spec.events, key=lambda e: e.at_ms):
        if not spec.from_ms <= event.at_ms <= spec.to_ms:
            continue
        row = next((i for i, end in enumerate(ends) if event.at_ms - end >= least), len(ends))
        if row >= 3:
            continue  # a fourth on one spot is found in the list below the chart
        ends[row : row + 1] = [event.at_ms]
        placed.append((event, row))
    return placed


def _scales(spec: ChartSpec, frame: Frame) -> str:
    """What a script needs to read values off the lines again."""
    facts = {
        "from": spec.from_ms,
        "to": spec.to_ms,
        "low": f"{frame.low:.6g}",
        "high": f"{frame.high:.6g}",
        "top": f"{frame.top:.0f}",
        "plot": f"{frame.plot:.0f}",
        "digits": KEPT[spec.quantity].digits,
        "unit": KEPT[spec.quantity].unit,
        "zone": spec.zone,
    }
    return " ".join(f'data-{name}="{escape(str(value))}"' for name, value in facts.items())


def _named(spec: ChartSpec) -> str:
    # a picture may hold no links; a group may
    role = "group" if spec.links else "img"
    return f'role="{role}" aria-labelledby="{spec.id}-t" aria-describedby="{spec.id}-d"'


def svg(spec: ChartSpec) -> str:
    """The chart as SVG text."""
    return Drawing(spec).text()
