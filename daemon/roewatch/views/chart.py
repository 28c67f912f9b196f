"""A chart: the picture of one quantity of one tank, as SVG or as PNG.

The same drawing serves the page, the graph command and the picture in a notice.
"""

from roewatch.views.drawing import svg
from roewatch.views.picture import NoPictureError, png
from roewatch.views.plot import AlarmMark, ChartSpec, EventMark, StageMark, span_words, summary
from roewatch.views.trace import WindowSpan

__all__ = [
    "AlarmMark",
    "ChartSpec",
    "EventMark",
    "NoPictureError",
    "StageMark",
    "WindowSpan",
    "png",
    "span_words",
    "summary",
    "svg",
]
