"""A pen: how a chart's lines, marks and words become SVG text, fluid or with colours of its own."""

from collections.abc import Sequence
from html import escape
from zoneinfo import ZoneInfo

from roewatch.views.axis import TimeMark, time_marks
from roewatch.views.frame import Frame, frame_of
from roewatch.views.palette import PALETTES, Palette, Theme
from roewatch.views.plot import ChartSpec, EventMark
from roewatch.views.trace import WindowSpan

_TRIANGLE = "M0-8 8 6H-8Z"
_MOST_ROWS = 3


def _paints(colours: Palette) -> dict[str, str]:
    """Presentation attributes by class; a page's style sheet says the same in its own words."""
    line = 'fill="none" stroke-linejoin="round" stroke-linecap="round"'
    halo = f' stroke="{colours.page}" stroke-width="3" paint-order="stroke"'
    if colours is PALETTES[Theme.PRINT]:
        halo = ""  # what lays out paper knows no paint order: see `Pen.say`
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
        "halo": f'fill="{colours.text}" font-size="12"{halo}',
        "tick": f'fill="{colours.quiet}" font-size="12"',
        "bound": f'fill="{colours.text}" font-size="12"',
        "title": f'fill="{colours.text}" font-size="17" font-weight="bold"',
        "chip": f'fill="{colours.page}" stroke="{colours.quiet}"',
    }


class Pen:
    """One chart's scales and styles. events: each with the row it stands in."""

    def __init__(self, spec: ChartSpec) -> None:
        self.spec = spec
        self.traces = spec.traces()
        self.events = _event_rows(spec)
        rows = 1 + max((row for _, row in self.events), default=-1)
        self.frame: Frame = frame_of(spec, self.traces, rows)
        self.fluid = spec.width is None
        self._paints = {} if self.fluid else _paints(PALETTES[spec.theme])

    def style(self, name: str) -> str:
        """The attributes that paint something: a class for the page's sheet, or the colours."""
        return f'class="c-{name}"' if self.fluid else self._paints[name]

    def spare(self, name: str, day: bool) -> str:
        """A style for words that a narrow page leaves out: days, which are long, before hours."""
        return f"{name} c-spare{' c-day' if day else ''}" if self.fluid else name

    def n(self, x: float, y: float) -> str:
        """A point within the plot, in the plot's own steps; y in pixels from its upper edge."""
        return f"{x:.0f} {y * 10:.0f}" if self.fluid else f"{x:.1f} {y:.1f}"

    def box(self, span: WindowSpan, high: float, low: float) -> str:
        """Path data of a box between two heights, in pixels from the plot's upper edge."""
        left, right = (self.frame.x(t) for t in (span.from_ms, span.to_ms))
        return (
            f"M{self.n(left, high)}L{self.n(right, high)} {self.n(right, low)} {self.n(left, low)}Z"
        )

    def time_marks(self) -> list[TimeMark]:
        """The marks of the time axis."""
        return time_marks(self.spec.from_ms, self.spec.to_ms, ZoneInfo(self.spec.zone))

    def say(self, name: str, x: str, y: float, words: str, anchor: str = "start") -> str:
        """Words at a point of the outer picture."""
        shift = {"start": 4, "middle": 0, "end": -4}[anchor]
        place = f'x="{x}" y="{y:.0f}" dx="{shift}" text-anchor="{anchor}"'
        text = f"<text {self.style(name)} {place}>{escape(words)}</text>"
        if self.spec.theme is Theme.PRINT and not self.fluid and name == "halo":
            paper = PALETTES[Theme.PRINT].page
            around = f'fill="{paper}" stroke="{paper}" stroke-width="3" font-size="12"'
            return f'<text aria-hidden="true" {around} {place}>{escape(words)}</text>{text}'
        return text

    def anchor(self, at_ms: int) -> str:
        """Which side of its point a word lies on, so that it stays on the paper."""
        share = self.frame.share(at_ms)
        return "start" if share < 0.04 else "end" if share > 0.95 else "middle"

    def spot(self, at_ms: int, y: float, body: str) -> str:
        """Something drawn around a point of the outer picture, at its true size."""
        x = self.frame.at(at_ms)
        if self.fluid:
            return f'<svg x="{x}" y="{y:.0f}" class="spot">{body}</svg>'
        return f'<g transform="translate({x} {y:.1f})">{body}</g>'

    def warning(self, at_ms: int, y: float) -> str:
        """The mark of an alarm."""
        body = (
            f'<path {self.style("mark")} d="{_TRIANGLE}"/><text {self.style("bang")} y="5">!</text>'
        )
        return self.spot(at_ms, y, body)


def _event_rows(spec: ChartSpec) -> Sequence[tuple[EventMark, int]]:
    """Each event in the first row where it overlaps no other on a phone's width; three rows."""
    least = (spec.to_ms - spec.from_ms) * 24 // (340 if spec.width is None else spec.width)
    ends: list[int] = []
    placed = []
    for event in sorted(spec.events, key=lambda e: e.at_ms):
        if not spec.from_ms <= event.at_ms <= spec.to_ms:
            continue
        row = next((i for i, end in enumerate(ends) if event.at_ms - end >= least), len(ends))
        if row >= _MOST_ROWS:
            continue  # a fourth on one spot is found in the list below the chart
        ends[row : row + 1] = [event.at_ms]
        placed.append((event, row))
    return placed
