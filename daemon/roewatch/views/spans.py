"""A span asked for: which stretch of time a page shows, as its address says it."""

from dataclasses import dataclass

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso, iso, span_ms_of
from roewatch.views.asked import AskedWrongError

CHOICES = (("6h", "6 h"), ("1d", "day"), ("7d", "week"), ("30d", "month"))
_LEAST_MS = 10 * MINUTE_MS
_MOST_MS = 400 * DAY_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time that ends at until_ms; open when it goes on with the clock."""

    text: str
    length_ms: int
    until_ms: int
    open: bool

    @property
    def from_ms(self) -> int:
        """Where it begins."""
        return self.until_ms - self.length_ms

    @property
    def drawn_to_ms(self) -> int:
        """Where a chart of it ends: an open span looks a little ahead."""
        return self.until_ms + (min(self.length_ms // 12, 12 * HOUR_MS) if self.open else 0)

    @property
    def earlier(self) -> str:
        """The address's query for the span before."""
        return f"span={self.text}&until={iso(self.until_ms - self.length_ms // 2)}"

    def later(self, now_ms: int) -> str:
        """The address's query for the span after; the open one when that reaches the present."""
        until_ms = self.until_ms + self.length_ms // 2
        return f"span={self.text}" + ("" if until_ms >= now_ms else f"&until={iso(until_ms)}")


def span_of(text: str, until: str, now_ms: int) -> Span:
    """The span an address asks for: `7d`, and `until` an ISO 8601 time or empty for now.

    Raises AskedWrongError with text for the person.
    """
    try:
        length_ms = span_ms_of(text)
        until_ms = at_ms_of_iso(until) if until else now_ms
    except (ValueError, OverflowError) as fault:
        raise AskedWrongError(str(fault)) from fault
    if not _LEAST_MS <= length_ms <= _MOST_MS:
        raise AskedWrongError(f"{text} is too short or too long to draw; ask for 10 min to 400 d")
    if not 0 < until_ms - length_ms < until_ms <= now_ms + _MOST_MS:
        raise AskedWrongError(f"{until} is no time this room has seen")
    return Span(text=text, length_ms=length_ms, until_ms=until_ms, open=not until)
