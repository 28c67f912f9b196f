"""Hands: what the keeper did to a tank, by the journal, and what of its water that explains."""

from typing import Any, Final

from roewatch.judging.limits import Limits
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import FAR_MS
from roewatch.room.quantity import Quantity

_KEPT: Final = 8


class Hands:
    """One tank's logged water changes and calibrations, the last ones.

    changes: [from, until]. calibrations: [from, until, quantity]. explained_ms: until when any of
    the changes explains the water.
    """

    __slots__ = ("calibrations", "changes", "explained_ms", "limits")

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.changes: list[list[int]] = []
        self.calibrations: list[list[Any]] = []
        self.explained_ms = -1

    def change(self, from_ms: int, until_ms: int) -> None:
        """A water change."""
        self.set_changes([*self.changes, [from_ms, until_ms]][-_KEPT:])

    def calibrate(self, from_ms: int, until_ms: int, quantity: Quantity) -> None:
        """A calibration of the tank's probes of that quantity."""
        self.calibrations.append([from_ms, until_ms, quantity])
        del self.calibrations[:-_KEPT]

    def forget(self, entry: JournalEntry, until_ms: int) -> None:
        """That was not done after all."""
        span = [entry.at_ms, until_ms]
        if entry.deed is Deed.WATER_CHANGE:
            self.set_changes([change for change in self.changes if change != span])
        elif entry.deed is Deed.CALIBRATION:
            self.calibrations = [c for c in self.calibrations if c[:2] != span]

    def set_changes(self, changes: list[list[int]]) -> None:
        """Take these for the logged water changes."""
        self.changes = changes
        last_ms = max((until for _, until in changes), default=-FAR_MS)
        self.explained_ms = last_ms + self.limits.change_after_ms

    def in_change(self, at_ms: int) -> bool:
        """Whether a logged water change explains the water at that moment."""
        if at_ms > self.explained_ms:
            return False
        before, after = self.limits.change_before_ms, self.limits.change_after_ms
        return any(since - before <= at_ms <= until + after for since, until in self.changes)

    def in_calibration(self, quantity: Quantity, at_ms: int) -> bool:
        """Whether a logged calibration explains what that probe says at that moment."""
        before, after = self.limits.change_before_ms, self.limits.calibration_after_ms
        return any(
            named == quantity and since - before <= at_ms <= until + after
            for since, until, named in self.calibrations
        )

    def margin(self, quantity: Quantity, at_ms: int) -> float:
        """How much wider a window is at that moment."""
        if not self.changes or not self.in_change(at_ms):
            return 0.0
        if quantity is Quantity.TEMPERATURE:
            return self.limits.change_margin_celsius
        return self.limits.change_margin_ph if quantity is Quantity.PH else 0.0
