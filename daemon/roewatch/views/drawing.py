"""A drawing: a chart as SVG text, written by hand so that it needs no library and no script."""

import textwrap
from collections.abc import Iterable
from html import escape

from roewatch.room.quantity import KEPT
from roewatch.views.frame import GRID, Frame
from roewatch.views.inside import Inside
from roewatch.views.over import Over
from roewatch.views.palette import PALETTES
from roewatch.views.pen import Pen
from roewatch.views.plot import ChartSpec, span_words, summary, unit_of

_FONT = "DejaVu Sans, Liberation Sans, Noto Sans, Arial, sans-serif"


class Drawing:
    """One chart on its way to being SVG text."""

    def __init__(self, spec: ChartSpec) -> None:
        self.pen = Pen(spec)

    def text(self) -> str:
        """The whole picture."""
        spec, frame = self.pen.spec, self.pen.frame
        colours = PALETTES[spec.theme]
        if self.pen.fluid:
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
        if not self.pen.fluid:
            body.append(f'<rect width="100%" height="100%" fill="{colours.page}"/>')
            body += self._head()
        body += [*self._plot(), *Over(self.pen).parts()]
        if not self.pen.fluid:
            body += self._foot()
        body.append("</svg>")
        return "".join(body)

    def _plot(self) -> Iterable[str]:
        frame = self.pen.frame
        if self.pen.fluid:
            yield (
                f'<svg y="{frame.top:.0f}" width="100%" height="{frame.plot:.0f}" '
                f'viewBox="0 0 {GRID} {frame.plot * 10:.0f}" preserveAspectRatio="none" '
                'class="plot">'
            )
        else:
            yield f'<g transform="translate({frame.left:.0f} {frame.top:.0f})">'
        yield from Inside(self.pen).parts()
        yield "</svg>" if self.pen.fluid else "</g>"

    def _head(self) -> Iterable[str]:
        yield self.pen.say("title", "12", 24, self.pen.spec.title)
        yield self.pen.say("quiet", "12", 41, span_words(self.pen.spec))

    def _foot(self) -> Iterable[str]:
        y = self.pen.frame.height - 26
        for order, line in enumerate(
            _wrapped(summary(self.pen.spec), (self.pen.spec.width or 0) // 7)
        ):
            if order < 2:
                yield self.pen.say("quiet", "12", y + 16 * order, line)


def _wrapped(text: str, columns: int) -> list[str]:
    return textwrap.wrap(text, max(columns, 20))


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
        "unit": unit_of(spec),
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
