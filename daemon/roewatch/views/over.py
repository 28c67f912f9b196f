"""Over: what is written and marked over a chart's plot, at its true size."""

from collections.abc import Iterable
from html import escape

from roewatch.views.axis import value_marks
from roewatch.views.frame import Frame
from roewatch.views.pen import Pen
from roewatch.views.trace import Spell, Trace, spells, window_at
from roewatch.views.wording import number

_THUMB = '<rect class="c-hit" x="-12" y="-12" width="24" height="24"/>'
"""What a mark is tapped by: 24 px (WCAG 2.2, 2.5.8); a page's charts alone have links."""

_WORD_HIGH = 13
_SPARSE = 5
"""So many words of the time axis fit any phone."""

_MOST_MARKS = 6


class Over:
    """Writes the numbers and hours, and marks what was outside, alarms and deeds."""

    def __init__(self, pen: Pen) -> None:
        self.pen = pen

    def parts(self) -> Iterable[str]:
        """Everything, as SVG elements."""
        yield from self._numbers()
        yield from self._worst()
        yield from self._alarms()
        yield from self._events()

    def _numbers(self) -> Iterable[str]:
        spec, frame = self.pen.spec, self.pen.frame
        # a word at the very end would run into the one before it
        marks = [mark for mark in self.pen.time_marks() if frame.share(mark.at_ms) <= 0.96]
        for order, mark in enumerate(reversed(marks)):
            y = frame.bottom + frame.rows * 24 + 15
            every_other = order % 2 and len(marks) > _SPARSE
            name = self.pen.spare("quiet", mark.heavy) if every_other else "quiet"
            anchor = self.pen.anchor(mark.at_ms)
            yield self.pen.say(name, frame.at(mark.at_ms), y, mark.text, anchor)
        left = frame.at(spec.from_ms)
        bounds = {frame.y(bound): number(spec.quantity, bound) for bound in self._bounds()}
        for y, words in bounds.items():
            yield self.pen.say("bound", left, frame.top + y + 4, words, "end")
        for value in value_marks(frame.low, frame.high):
            y = frame.y(value)
            if all(abs(y - taken) >= _WORD_HIGH for taken in bounds):
                words = f"{value:.{_digits(frame)}f}"
                yield self.pen.say("tick", left, frame.top + y + 4, words, "end")
        row, before = 0, -1.0
        for stage in spec.stages:
            share = frame.share(stage.at_ms)
            row = row + 1 if share - before < 0.14 else 0  # words side by side would run together
            before = share
            anchor = "end" if share > 0.7 else "start"
            y = frame.top + 12 + 13 * (row % 4)
            yield self.pen.say("halo", frame.at(stage.at_ms), y, stage.word, anchor)

    def _bounds(self) -> list[float]:
        """The bounds of the window at the right end; the axis's own numbers give way to them."""
        last = self.pen.spec.windows[-1].window if self.pen.spec.windows else None
        return [b for b in (last.high, last.low) if b is not None] if last else []

    def _worst(self) -> Iterable[str]:
        """A mark and a number at the worst reading of each time outside; the worst few only."""
        found: list[Spell] = []
        for trace in self.pen.traces:
            found += spells(trace, self.pen.spec.windows)
        marked: list[int] = []
        for spell in sorted(found, key=self._harm, reverse=True):
            at_ms, value = spell.worst
            if len(marked) == _MOST_MARKS or any(
                abs(self.pen.frame.share(at_ms) - self.pen.frame.share(other)) < 0.06
                for other in marked
            ):
                continue  # a worse one is marked beside it
            marked.append(at_ms)
            y = self.pen.frame.top + self.pen.frame.y(value)
            if not (spell.above and y - 12 < self.pen.frame.top + 8 and self._near_alarm(at_ms)):
                yield self.pen.warning(at_ms, y - 12 if spell.above else y + 14)
        for trace in self.pen.traces:
            yield from self._crosses(trace)

    def _near_alarm(self, at_ms: int) -> bool:
        """Whether an alarm's own mark along the top edge stands right above that moment."""
        share = self.pen.frame.share
        return any(abs(share(at_ms) - share(a.from_ms)) < 0.06 for a in self.pen.spec.alarms)

    def _harm(self, spell: Spell) -> float:
        window = window_at(self.pen.spec.windows, spell.worst[0])
        return abs(window.outside_by(spell.worst[1])) if window else 0.0

    def _crosses(self, trace: Trace) -> Iterable[str]:
        """Readings the judge does not believe: crosses, on the plot's edge when they lie beyond."""
        cross = f'<path {self.pen.style("bad")} d="M-4-4 4 4M4-4-4 4"/>'
        step = max(1, len(trace.disbelieved) // 40)
        for at_ms, value in trace.disbelieved[::step]:
            yield self.pen.spot(at_ms, self.pen.frame.top + self.pen.frame.y(value), cross)

    def _alarms(self) -> Iterable[str]:
        spec, frame = self.pen.spec, self.pen.frame
        y = frame.top - 9
        for alarm in spec.alarms:
            begin = max(alarm.from_ms, spec.from_ms)
            end = min(alarm.to_ms if alarm.to_ms is not None else spec.now_ms, spec.to_ms)
            line = f'x1="{frame.at(begin)}" x2="{frame.at(max(begin, end))}"'
            bar = (
                f'<line {self.pen.style("out")} {line} y1="{y:.0f}" y2="{y:.0f}"/>'
                f"{self.pen.warning(begin, y)}<title>{escape(alarm.text)}</title>"
            )
            if spec.links:
                thumb = self.pen.spot(begin, y, _THUMB)
                yield f'<a href="/alarms#no-{alarm.number}">{bar}{thumb}</a>'
            else:
                yield f"<g>{bar}</g>"

    def _events(self) -> Iterable[str]:
        for event, row in self.pen.events:
            letter = escape(event.letter)
            body = (
                f'<rect {self.pen.style("chip")} x="-9" y="-9" width="18" height="18" rx="4"/>'
                f'<text {self.pen.style("quiet")} y="4" text-anchor="middle">{letter}</text>'
                f"<title>{escape(event.text)}</title>"
            )
            spot = self.pen.spot(event.at_ms, self.pen.frame.row_y(row), body)
            if self.pen.spec.links:
                thumb = self.pen.spot(event.at_ms, self.pen.frame.row_y(row), _THUMB)
                yield f'<a href="#e-{event.at_ms}">{spot}{thumb}</a>'
            else:
                yield spot


def _digits(frame: Frame) -> int:
    marks = value_marks(frame.low, frame.high)
    step = marks[1] - marks[0] if len(marks) > 1 else 1.0
    return 0 if step >= 1 else 1 if step >= 0.1 else 2
