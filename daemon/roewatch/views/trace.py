"""A trace: the measured line of a chart, broken where readings are missing."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.room.reading import Flag
from roewatch.room.series import Series
from roewatch.room.window import Window

Point = tuple[int, float]  # at_ms, value


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowSpan:
    """The window in force from one moment to another; None while there was none."""

    from_ms: int
    to_ms: int
    window: Window | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """One unbroken time outside the window. worst: the reading furthest out."""

    from_ms: int
    to_ms: int
    worst: Point
    above: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Runs of readings that may be joined by a line, and the readings that are not believed.

    hole_ms: two neighbours further apart than this are not joined.
    """

    runs: tuple[tuple[Point, ...], ...]
    disbelieved: tuple[Point, ...]
    hole_ms: int

    @property
    def points(self) -> list[Point]:
        """Every believed reading, in order."""
        return [point for run in self.runs for point in run]

    def holes(self) -> list[tuple[int, int]]:
        """The gaps between runs, as (from_ms, to_ms)."""
        return [(a[-1][0], b[0][0]) for a, b in zip(self.runs, self.runs[1:], strict=False)]


def hole_ms_of(series: Series, columns: int) -> int:
    """The widest space between two readings that still is no gap.

    Three missed readings make a gap. A thinned series keeps at most four readings a column, so
    there a space shorter than one and a half columns is only the thinning.
    """
    widest = 3 * series.every_ms
    if series.thinned and columns > 0:
        widest = max(widest, (series.to_ms - series.from_ms) * 3 // (2 * columns))
    return widest


def trace_of(series: Series, columns: int = 0) -> Trace:
    """The line through a series: broken at gaps and at missing values, past what is disbelieved."""
    hole_ms = hole_ms_of(series, columns)
    runs: list[list[Point]] = []
    disbelieved: list[Point] = []
    open_run = False
    for at_ms, value, flag in zip(series.at_ms, series.value, series.flag, strict=True):
        if flag == Flag.MISSING or not math.isfinite(value):
            open_run = False
        elif flag == Flag.BAD:
            disbelieved.append((at_ms, value))
        elif open_run and at_ms - runs[-1][-1][0] <= hole_ms:
            runs[-1].append((at_ms, value))
        else:
            runs.append([(at_ms, value)])
            open_run = True
    return Trace(
        runs=tuple(tuple(run) for run in runs), disbelieved=tuple(disbelieved), hole_ms=hole_ms
    )


def window_at(spans: Sequence[WindowSpan], at_ms: int) -> Window | None:
    """The window in force at a moment, if any."""
    for span in spans:
        if span.from_ms <= at_ms < span.to_ms:
            return span.window
    return spans[-1].window if spans and at_ms == spans[-1].to_ms else None


def spells(trace: Trace, spans: Sequence[WindowSpan]) -> list[Spell]:
    """The times outside the window, in order; a gap ends a spell, for nobody knows what it hid."""
    found: list[Spell] = []
    for run in trace.runs:
        began: int | None = None
        worst: tuple[float, Point] = (0.0, run[0])
        for at_ms, value in run:
            window = window_at(spans, at_ms)
            out = window.outside_by(value) if window else 0.0
            same_side = began is not None and out * worst[0] > 0
            if began is not None and not same_side:
                found.append(_spell(began, at_ms, worst))
                began = None
            if out and began is None:
                began, worst = at_ms, (out, (at_ms, value))
            elif out and abs(out) > abs(worst[0]):
                worst = (out, (at_ms, value))
        if began is not None:
            found.append(_spell(began, run[-1][0], worst))
    return found


def _spell(from_ms: int, to_ms: int, worst: tuple[float, Point]) -> Spell:
    return Spell(from_ms=from_ms, to_ms=to_ms, worst=worst[1], above=worst[0] > 0)
