"""An outlook: when a value will leave its window, or come back, if it goes on as it has.

The last one, two and three hours each give a pace; their spread is the range that is shown.
The judge's own forecast, which knows the tank, goes before this one wherever there is one.
"""

from dataclasses import dataclass

from roewatch.judging.finding import Forecast
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.series import Series
from roewatch.room.window import Window
from roewatch.views.standing import drift_per_hour
from roewatch.views.wording import whole_span

LOOK_BACK_MS = 3 * HOUR_MS
LOOK_AHEAD_MS = 8 * HOUR_MS
"""Three hours say nothing about what lies further ahead than this."""

_SURE_MS = 12 * HOUR_MS  # nothing is promised for longer than this


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What is expected, in a sentence; crossing: when the window's edge will be crossed."""

    text: str
    crossing: Forecast | None = None


def _paces(series: Series) -> list[float]:
    """Change an hour over the last one, two and three hours, where that can be told."""
    found = []
    for hours in (1, 2, 3):
        begin = series.to_ms - hours * HOUR_MS
        kept = [i for i, at_ms in enumerate(series.at_ms) if at_ms >= begin]
        part = Series(
            probe=series.probe,
            tank=series.tank,
            quantity=series.quantity,
            every_ms=series.every_ms,
            from_ms=begin,
            to_ms=series.to_ms,
            at_ms=[series.at_ms[i] for i in kept],
            value=[series.value[i] for i in kept],
            flag=[series.flag[i] for i in kept],
        )
        reaches = kept and series.at_ms[kept[-1]] - series.at_ms[kept[0]] > hours * HOUR_MS * 3 // 4
        pace = drift_per_hour(part) if reaches else None
        if pace is not None:
            found.append(pace)
    return found


def outlook_of(series: Series, window: Window | None, value: float | None, now_ms: int) -> Outlook:
    """What to expect. series: the last three hours; value: the last believed one, None if silent.

    One of three sentences: it crosses the edge in so long (range), it stays inside for so long,
    or it cannot be said, and why.
    """
    if window is None:
        return Outlook(text="Cannot say: no window to leave.")
    if value is None:
        return Outlook(text="Cannot say: the probe is silent.")
    paces = _paces(series)
    if not paces:
        return Outlook(text="Cannot say: less than an hour of readings.")
    out = window.outside_by(value)
    if out:
        return _coming_back(paces, out, now_ms)
    times = [time for pace in paces if (time := _to_edge(pace, value, window)) is not None]
    if len(times) == len(paces) and len(times) > 1 and min(times) < LOOK_AHEAD_MS:
        one_way = all(pace > 0 for pace in paces) or all(pace < 0 for pace in paces)
        if one_way:
            return _crossing("Leaves the window", times, now_ms)
    safe_ms = min([*times, _SURE_MS])
    if safe_ms < HOUR_MS:
        return Outlook(text="Cannot say: the last hours disagree, and the edge is near.")
    return Outlook(text=f"Stays inside for the next {safe_ms // HOUR_MS} h.")


def _to_edge(pace: float, value: float, window: Window) -> int | None:
    """How long to the edge at that pace; None if it never comes there."""
    edge = window.high if pace > 0 else window.low
    if edge is None or pace == 0:
        return None
    hours = (edge - value) / pace
    return int(hours * HOUR_MS) if hours < 10_000 else None


def _coming_back(paces: list[float], out: float, now_ms: int) -> Outlook:
    """Outside already: back when every pace leads back, else nobody can say."""
    if all(pace * out < 0 for pace in paces):
        times = [int(-out / pace * HOUR_MS) for pace in paces]
        if min(times) < LOOK_AHEAD_MS:
            return _crossing("Back in the window", times, now_ms)
    if all(pace * out > 0 for pace in paces):
        return Outlook(text="Cannot say when it is back: it still moves outwards.")
    return Outlook(text="Cannot say when it is back: it does not move towards the window.")


def of_judge(forecast: Forecast, now_ms: int) -> Outlook:
    """The judge's own forecast in the same words. Its likely moment must be known."""
    assert forecast.likely_ms is not None
    times = [forecast.earliest_ms, forecast.likely_ms, forecast.latest_ms]
    told = _crossing("Leaves the window", [t - now_ms for t in times if t is not None], now_ms)
    return Outlook(text=told.text, crossing=forecast)


def _crossing(what: str, times: list[int], now_ms: int) -> Outlook:
    soon, late = min(times), max(times)
    likely = sorted(times)[len(times) // 2]
    until = _rough(late) if late < 3 * LOOK_AHEAD_MS else "more than a day"
    text = f"{what} in about {_rough(likely)} ({_rough(soon)} to {until})."
    return Outlook(text=text, crossing=Forecast(now_ms + soon, now_ms + likely, now_ms + late))


def _rough(span_ms: int) -> str:
    """A span no finer than it is known: to 5 minutes, past an hour to 10."""
    step = 5 * MINUTE_MS if span_ms < HOUR_MS else 10 * MINUTE_MS
    return whole_span(max(step, (span_ms + step // 2) // step * step))
