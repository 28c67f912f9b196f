"""A finding: one judgement about one tank at one moment, with numbers."""

from typing import NamedTuple

from roewatch.room.kind import Kind
from roewatch.room.quantity import Quantity


class Forecast(NamedTuple):
    """When the value will leave its window: not before `earliest_ms`, not after `latest_ms`.

    likely_ms: the middle estimate. A bound that cannot be told is None.
    """

    earliest_ms: int | None
    likely_ms: int | None
    latest_ms: int | None


class Finding(NamedTuple):
    """One condition on one tank has begun, changed worth telling, or ended.

    tank: the tank's id, or `roewatch.room.tank.ROOM`. probe: only for conditions of a probe.
    at_ms: event time of the judgement; since_ms: when the condition began.
    present: True when it holds, False when evidence shows it has ended (never for want of data).
    message: one plain sentence with the numbers in it. window: as people read it, or empty.
    children: for a room condition, the tanks it was seen in.
    explained: the keeper's journal explains it (a logged water change); journal only.
    """

    tank: str
    kind: Kind
    quantity: Quantity | None
    probe: str | None
    at_ms: int
    since_ms: int
    present: bool
    value: float | None
    message: str
    window: str = ""
    forecast: Forecast | None = None
    children: tuple[str, ...] = ()
    explained: bool = False

    @property
    def key(self) -> str:
        """One key per tank and condition: the same condition again has the same key."""
        parts = (self.tank, self.kind, self.quantity or "", self.probe or "")
        return "/".join(parts).rstrip("/")
