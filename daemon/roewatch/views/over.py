"""Over: what is written and marked over a chart's plot, at its true size."""

from collections.abc import Iterable
from html import escape

from roewatch.views.axis import value_marks
from roewatch.views.frame import Frame
from roewatch.views.pen import Pen
from roewatch.views.plot import AlarmMark
from roewatch.views.trace import Spell, Trace, spells, window_at
from roewatch.views.wording import number

_THUMB = '<rect class="c-hit" x="-12" y="-12" width="24" height="24"/>'
"""What a mark is tapped by: 24 px (WCAG 2.2, 2.5.8); a page's charts alone have links."""

_WORD_HIGH = 13
_SPARSE = 5
"""So many words of the time axis fit any phone."""

_MOST_MARKS = 6
_NEAR = 0.06
"""Marks nearer than this share of the chart cover each other on a phone."""


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
                abs(self.pen.frame.share(at_ms) - self.pen.frame.share(other)) < _NEAR
                for other in marked
            ):
                continue  # a worse one is marked beside it
            marked.append(at_ms)
            y = self.pen.frame.top + self.pen.frame.y(value)
            if not (spell.above and y - 12 < self.pen.frame.top + 8 and self._near_alarm(at_ms)):
                # below the plot stand the deeds' letters
                below = min(y + 14, self.pen.frame.bottom - 7)
                yield self.pen.warning(at_ms, y - 12 if spell.above else below)
        for trace in self.pen.traces:
            yield from self._crosses(trace)

    def _near_alarm(self, at_ms: int) -> bool:
        """Whether an alarm's own mark along the top edge stands right above that moment."""
        share = self.pen.frame.share
        return any(abs(share(at_ms) - share(a.from_ms)) < _NEAR for a in self.pen.spec.alarms)

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
        """Each alarm's bar; alarms that begin side by side share one mark, which tells them all."""
        y = self.pen.frame.top - 9
        for together in self._side_by_side():
            begin = self._begin(together[0])
            bars = "".join(map(self._bar, together))
            told = escape("; ".join(alarm.text for alarm in together))
            body = f"{bars}{self.pen.warning(begin, y)}<title>{told}</title>"
            if self.pen.spec.links:
                thumb = self.pen.spot(begin, y, _THUMB)
                one = f"#no-{together[0].number}" if len(together) == 1 else ""
                yield f'<a href="/alarms{one}">{body}{thumb}</a>'
            else:
                yield f"<g>{body}</g>"

    def _begin(self, alarm: AlarmMark) -> int:
        return max(alarm.from_ms, self.pen.spec.from_ms)

    def _side_by_side(self) -> list[list[AlarmMark]]:
        """The alarms in time's order, those together whose marks would cover each other."""
        found: list[list[AlarmMark]] = []
        share = self.pen.frame.share
        for alarm in sorted(self.pen.spec.alarms, key=self._begin):
            if found and share(self._begin(alarm)) - share(self._begin(found[-1][0])) < _NEAR:
                found[-1].append(alarm)
            else:
                found.append([alarm])
        return found

    def _bar(self, alarm: AlarmMark) -> str:
        spec, frame = self.pen.spec, self.pen.frame
        begin = self._begin(alarm)
        end = min(alarm.to_ms if alarm.to_ms is not None else spec.now_ms, spec.to_ms)
        y = frame.top - 5  # at the foot of the mark: a short one does not run through its sign
        line = f'x1="{frame.at(begin)}" x2="{frame.at(max(begin, end))}"'
        return f'<line {self.pen.style("out")} {line} y1="{y:.0f}" y2="{y:.0f}"/>'

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
