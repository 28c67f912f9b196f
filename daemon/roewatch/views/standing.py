"""A standing: how one tank stands now, each value against its window, with direction and age."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.rationale import title_of
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import HOUR_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.series import Series
from roewatch.room.stage import Stage
from roewatch.room.tank import Probe, Tank
from roewatch.room.window import Window

SILENT_AFTER = 3
"""So many expected readings missed make a probe silent on the page."""

_NEAR_SHARE = 0.1  # of the window's width
_STEADY_AN_HOUR = {Quantity.TEMPERATURE: 0.1, Quantity.PH: 0.03}
_STEADY_SHARE = 0.01
_SHORT = {Quantity.TEMPERATURE: "temp.", Quantity.CONDUCTIVITY: "cond."}
_SIDES = {Kind.BELOW_WINDOW: "below", Kind.ABOVE_WINDOW: "above"}
_SILENT_KINDS = {Kind.PROBE_SILENT, Kind.TANK_SILENT, Kind.ROOM_SILENT}


class Mark(StrEnum):
    """The shape a tank or value is marked with; the text value names the shape's drawing."""

    INSIDE = "inside"
    NEAR = "near"
    OUTSIDE = "outside"
    RETURNED = "returned"
    SILENT = "silent"
    SHELVED = "shelved"
    OUT_OF_SERVICE = "out-of-service"
    BLANK = "blank"

    @property
    def rank(self) -> int:
        """0 for the worst, for sorting."""
        return _WORST_FIRST.index(self)


_WORST_FIRST = (
    Mark.OUTSIDE, Mark.SILENT, Mark.RETURNED, Mark.NEAR, Mark.OUT_OF_SERVICE, Mark.SHELVED,
    Mark.INSIDE, Mark.BLANK,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One probe now. per_hour: change an hour over the last hour, None if it cannot be told."""

    probe: Probe
    latest: Flagged | None
    window: Window | None
    per_hour: float | None
    now_ms: int

    @property
    def quantity(self) -> Quantity:
        """What the probe measures."""
        return self.probe.quantity

    @property
    def silent(self) -> bool:
        """Whether it has missed so many readings that its last value is old news."""
        if self.latest is None:
            return True
        return self.now_ms - self.latest.at_ms > SILENT_AFTER * self.probe.every_ms

    @property
    def doubted(self) -> bool:
        """Whether the judge does not believe the last reading."""
        return self.latest is not None and self.latest.flag in {Flag.BAD, Flag.SUSPECT}

    @property
    def outside_by(self) -> float:
        """How far the last believed value lies outside the window; below is negative."""
        if self.latest is None or self.window is None or self.latest.flag is Flag.BAD:
            return 0.0
        return self.window.outside_by(self.latest.value)

    @property
    def mark(self) -> Mark:
        """The value's own mark, from the value alone."""
        if self.silent:
            return Mark.SILENT
        if self.window is None or self.latest is None:
            return Mark.BLANK
        if self.outside_by:
            return Mark.OUTSIDE
        low, high = self.window.low, self.window.high
        if low is not None and high is not None:
            room = min(self.latest.value - low, high - self.latest.value)
            if room < _NEAR_SHARE * (high - low):
                return Mark.NEAR
        return Mark.INSIDE

    @property
    def direction(self) -> str:
        """`rising`, `falling`, `steady`, or empty when it cannot be told."""
        if self.per_hour is None or self.silent or self.latest is None:
            return ""
        steady = _STEADY_AN_HOUR.get(self.quantity, abs(self.latest.value) * _STEADY_SHARE)
        if abs(self.per_hour) < steady:
            return "steady"
        return "rising" if self.per_hour > 0 else "falling"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One tank now. alarms: its open ones, the gravest first."""

    tank: Tank
    measured: tuple[Measured, ...]
    alarms: tuple[Alarm, ...]
    now_ms: int

    @property
    def stage(self) -> Stage:
        """The stage it is judged in."""
        return self.tank.stage

    def of(self, quantity: Quantity) -> Measured | None:
        """The first probe of that quantity."""
        return next((m for m in self.measured if m.quantity is quantity), None)

    @property
    def speaking(self) -> tuple[Alarm, ...]:
        """The open alarms that neither a person nor a rule has silenced."""
        quiet = {State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE, State.NORMAL}
        return tuple(alarm for alarm in self.alarms if alarm.state not in quiet)

    @property
    def mark(self) -> Mark:
        """The worst of what alarms and values say."""
        present = [alarm for alarm in self.speaking if alarm.present]
        if any(alarm.kind not in _SILENT_KINDS for alarm in present):
            return Mark.OUTSIDE
        if present:
            return Mark.SILENT
        states = {alarm.state for alarm in self.alarms}
        if State.OUT_OF_SERVICE in states:
            return Mark.OUT_OF_SERVICE
        if State.SHELVED in states:
            return Mark.SHELVED
        marks = {measured.mark for measured in self.measured}
        if self.speaking and not marks & {Mark.OUTSIDE, Mark.SILENT}:
            return Mark.RETURNED
        return min(marks, key=lambda mark: mark.rank, default=Mark.BLANK)

    @property
    def _first(self) -> Alarm | None:
        """The alarm the mark speaks of: one that is over says nothing of what is silent."""
        first = next(iter(self.speaking), None)
        return first if first and (first.present or self.mark is Mark.RETURNED) else None

    @property
    def word(self) -> str:
        """The mark in a few words: `pH above`, `heater dead`, `inside`, `silent`."""
        first = self._first
        if first:
            return short_words(first) if first.present else "back in, not seen"
        if self.mark is Mark.OUTSIDE:
            worst = next(m for m in self.measured if m.mark is Mark.OUTSIDE)
            return f"{_SHORT.get(worst.quantity, KEPT[worst.quantity].name)} out"
        return "no window" if self.mark is Mark.BLANK else self.mark.value.replace("-", " ")

    @property
    def since_ms(self) -> int | None:
        """Since when the word is true, if that is known."""
        first = self._first
        if first:
            return first.since_ms if first.present else first.returned_ms
        if self.mark is Mark.SILENT:
            return min(
                (m.latest.at_ms for m in self.measured if m.latest and m.silent), default=None
            )
        return None

    @property
    def new(self) -> bool:
        """Whether nobody has acknowledged what is wrong."""
        return any(alarm.state is State.UNACKNOWLEDGED for alarm in self.alarms)


def alarm_words(alarm: Alarm) -> str:
    """What is wrong, in a few words: `pH above window`, `heater dead`."""
    return title_of(alarm.kind, alarm.quantity)


def short_words(alarm: Alarm) -> str:
    """What is wrong, short enough for a cell: `pH above`, `heater dead`."""
    side = _SIDES.get(alarm.kind)
    if side and alarm.quantity:
        return f"{_SHORT.get(alarm.quantity, KEPT[alarm.quantity].name)} {side}"
    return alarm.kind.value.replace("-", " ").replace("ph ", "pH ")


def drift_per_hour(series: Series) -> float | None:
    """Change an hour from the medians of a series' first and last third; None if too few.

    Medians, because one lying reading must not turn the arrow.
    """
    believed = [
        (at_ms, value)
        for at_ms, value, flag in zip(series.at_ms, series.value, series.flag, strict=True)
        if flag not in {Flag.BAD, Flag.MISSING}
    ]
    third = len(believed) // 3
    if third == 0 or believed[-1][0] - believed[0][0] < HOUR_MS // 4:
        return None
    first, last = believed[:third], believed[-third:]
    apart_ms = median(at for at, _ in last) - median(at for at, _ in first)
    return (median(v for _, v in last) - median(v for _, v in first)) * HOUR_MS / apart_ms


def gravest_first(alarms: Sequence[Alarm]) -> tuple[Alarm, ...]:
    """Open alarms in the order they ask for somebody: present, by priority, oldest first."""
    asking = [a for a in alarms if a.priority is not Priority.JOURNAL]
    return tuple(sorted(asking, key=lambda a: (not a.present, a.priority.rank, a.since_ms)))
