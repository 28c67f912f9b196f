"""A brood's bar: its way from conditioning to day 30 as one strip; a window is as wide as doubt."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.views.palette import PALETTES, Theme

_HEIGHT = 66
_TOP = 24
_THICK = 24
_LETTER = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Milestone:
    """Something that happens once in a brood, at a moment or within a window.

    letter: S spawned, H hatch, ≈ free-swimming. The three moments are one when it happened.
    """

    letter: str
    word: str
    from_ms: int
    likely_ms: int
    to_ms: int
    happened: bool

    @property
    def width_ms(self) -> int:
        """How much is left to doubt."""
        return self.to_ms - self.from_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What one bar shows. milestones: in order of time. days: later days that are counted on."""

    from_ms: int
    to_ms: int
    now_ms: int
    milestones: tuple[Milestone, ...]
    days: tuple[tuple[int, str], ...] = ()
    ended_ms: int | None = None


def bar_of(
    milestones: Sequence[Milestone], *, started_ms: int, now_ms: int, ended_ms: int | None = None
) -> Bar:
    """The stretch of time worth drawing: from the spawning's eve to what is expected next.

    Three weeks of conditioning would leave the hatch a hair's breadth, so the bar begins shortly
    before the eggs once there are any.
    """
    spawned = next((m for m in milestones if m.letter == "S"), None)
    swum = next((m for m in milestones if m.letter == "≈" and m.happened), None)
    last_ms = max([m.to_ms for m in milestones], default=now_ms)
    until_ms = ended_ms if ended_ms is not None else now_ms
    days: tuple[tuple[int, str], ...] = ()
    if swum is not None:
        days = tuple((swum.likely_ms + day * DAY_MS, f"day {day}") for day in (14, 30))
        last_ms = days[-1][0]
    if ended_ms is not None and (swum is None or ended_ms < last_ms):
        last_ms = max(ended_ms, max((m.to_ms for m in milestones if m.happened), default=ended_ms))
    end_ms = max(last_ms, until_ms)
    begin_ms = started_ms
    if spawned is not None:
        begin_ms = max(started_ms, spawned.likely_ms - max((end_ms - spawned.likely_ms) // 8, 1))
    length = max(end_ms - begin_ms, 6 * HOUR_MS)
    return Bar(
        from_ms=begin_ms,
        to_ms=begin_ms + length + length // 12,
        now_ms=now_ms,
        milestones=tuple(milestones),
        days=tuple(day for day in days if day[0] <= begin_ms + length),
        ended_ms=ended_ms,
    )


def bar_svg(bar: Bar, *, title: str, id: str = "bar", width: int | None = None) -> str:  # noqa: A002
    """The bar as SVG text: fluid and in the page's colours, or of a width and black on white."""
    return "".join(_Strip(bar, id, width).parts(title))


class _Strip:
    def __init__(self, bar: Bar, name: str, width: int | None) -> None:
        self._bar = bar
        self._name = name
        self._width = width

    def _x(self, at_ms: int) -> str:
        share = (at_ms - self._bar.from_ms) / (self._bar.to_ms - self._bar.from_ms)
        share = min(1.0, max(0.0, share))
        return f"{100 * share:.2f}%" if self._width is None else f"{self._width * share:.1f}"

    def _long(self, from_ms: int, to_ms: int) -> str:
        a, b = (float(self._x(t).rstrip("%")) for t in (from_ms, to_ms))
        return f"{max(b - a, 0.0):.2f}" + ("%" if self._width is None else "")

    def _style(self, name: str) -> str:
        if self._width is None:
            return f'class="b-{name}"'
        return _PRINTED[name].replace("{id}", self._name)

    def parts(self, title: str) -> Iterable[str]:
        wide = "100%" if self._width is None else str(self._width)
        font = ""
        if self._width is not None:
            box = f'viewBox="0 0 {self._width} {_HEIGHT}"'
            font = f' {box} font-family="DejaVu Sans, sans-serif"'
        yield (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="broodbar" width="{wide}" '
            f'height="{_HEIGHT}" role="img" aria-labelledby="{self._name}-t"{font}>'
            f'<title id="{self._name}-t">{escape(title)}</title>'
        )
        yield from self._patterns()
        yield from self._lived()
        for milestone in self._bar.milestones:
            yield from self._window(milestone)
        for at_ms, word in self._bar.days:
            yield self._tick(at_ms, word)
        yield from self._letters()
        yield from self._now()
        yield "</svg>"

    def _patterns(self) -> Iterable[str]:
        stripes = self._style("stripes")
        dots = self._style("dots")
        yield (
            f'<defs><pattern id="{self._name}-h" width="8" height="8" '
            'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            f'<rect {stripes} width="4" height="8"/></pattern>'
            f'<pattern id="{self._name}-f" width="8" height="8" patternUnits="userSpaceOnUse">'
            f'<circle {dots} cx="4" cy="4" r="2.2"/></pattern></defs>'
        )

    def _lived(self) -> Iterable[str]:
        """The whole strip, and the part of it that is behind us."""
        bar = self._bar
        size = f'y="{_TOP}" height="{_THICK}"'
        wide = "100%" if self._width is None else str(self._width)
        yield f'<rect {self._style("ahead")} x="0" {size} width="{wide}"/>'
        until = min(bar.now_ms, bar.ended_ms if bar.ended_ms is not None else bar.to_ms)
        if until > bar.from_ms:
            long = self._long(bar.from_ms, until)
            yield f'<rect {self._style("lived")} x="0" {size} width="{long}"/>'

    def _window(self, milestone: Milestone) -> Iterable[str]:
        x = self._x(milestone.likely_ms)
        if not milestone.happened:
            kind = "h" if milestone.letter == "H" else "f"
            place = (
                f'x="{self._x(milestone.from_ms)}" y="{_TOP}" height="{_THICK}" '
                f'width="{self._long(milestone.from_ms, milestone.to_ms)}"'
            )
            yield f"<rect {self._style('window')} {place}/>"
            yield f'<rect fill="url(#{self._name}-{kind})" {place}/>'
        yield (
            f'<line {self._style("moment" if milestone.happened else "likely")} x1="{x}" x2="{x}" '
            f'y1="{_TOP - 3}" y2="{_TOP + _THICK + 3}"/>'
        )

    def _tick(self, at_ms: int, word: str) -> str:
        x = self._x(at_ms)
        return (
            f'<line {self._style("likely")} x1="{x}" x2="{x}" y1="{_TOP}" y2="{_TOP + _THICK}"/>'
            f'<text {self._style("word")} x="{x}" y="{_TOP - 8}" text-anchor="end">'
            f"{escape(word)}</text>"
        )

    def _letters(self) -> Iterable[str]:
        """Letters above the strip; one that would touch the one before it moves on."""
        least = _LETTER / (self._width or 320)
        last = -1.0
        for milestone in self._bar.milestones:
            share = (milestone.likely_ms - self._bar.from_ms) / (
                self._bar.to_ms - self._bar.from_ms
            )
            share = min(max(share, last + least, 0.025), 0.975)
            last = share
            x = f"{100 * share:.2f}%" if self._width is None else f"{self._width * share:.1f}"
            yield (
                f'<text {self._style("letter")} x="{x}" y="{_TOP - 8}" text-anchor="middle">'
                f"{escape(milestone.letter)}</text>"
            )

    def _now(self) -> Iterable[str]:
        bar = self._bar
        if not bar.from_ms <= bar.now_ms <= bar.to_ms or bar.ended_ms is not None:
            return
        x, foot = self._x(bar.now_ms), _TOP + _THICK
        share = (bar.now_ms - bar.from_ms) / (bar.to_ms - bar.from_ms)
        anchor = "start" if share < 0.08 else "end" if share > 0.92 else "middle"
        yield (
            f'<line {self._style("now")} x1="{x}" x2="{x}" y1="{_TOP - 4}" y2="{foot + 5}"/>'
            f'<text {self._style("word")} x="{x}" y="{foot + 17}" text-anchor="{anchor}">now</text>'
        )


_PRINT = PALETTES[Theme.PRINT]
_PRINTED = {
    "ahead": f'fill="{_PRINT.page}" stroke="{_PRINT.quiet}"',
    "lived": 'fill="#d9d9d9"',
    "window": f'fill="{_PRINT.page}" stroke="{_PRINT.text}"',
    "stripes": 'fill="#777777"',
    "dots": 'fill="#777777"',
    "moment": f'stroke="{_PRINT.text}" stroke-width="3"',
    "likely": f'stroke="{_PRINT.text}" stroke-dasharray="3 2"',
    "now": f'stroke="{_PRINT.text}" stroke-width="1.5"',
    "letter": f'fill="{_PRINT.text}" font-size="13" font-weight="bold"',
    "word": f'fill="{_PRINT.quiet}" font-size="11"',
}
