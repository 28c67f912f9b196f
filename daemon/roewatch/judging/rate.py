"""A rate limit: the most a quantity may change within a span, never told from sample to sample.

Change is end to end over the whole span, on five-minute medians and, beyond four hours, on hourly
means; the thermostat's own swing is a dead band, because a working heater outruns any limit.
"""

from statistics import fmean
from typing import Any, Final

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import KEPT_BUCKETS, Witness
from roewatch.room.kind import Kind
from roewatch.room.measured import apart
from roewatch.room.moment import HOUR_MS, span_text
from roewatch.room.quantity import KEPT, Quantity, shown, shown_difference
from roewatch.room.window import RateLimit

KEPT_HOURS: Final = 26
_TURN: Final = (("rose", Kind.RISING_TOO_FAST), ("fell", Kind.FALLING_TOO_FAST))


class Rates:
    """One probe's rate limits and the hours they need."""

    __slots__ = ("_hour", "_values", "held", "hours", "limits", "rate_limits", "swing", "witness")

    def __init__(self, witness: Witness, limits: Limits) -> None:
        self.witness, self.limits = witness, limits
        self.rate_limits: tuple[RateLimit, ...] = ()
        self.swing = 0.0  # the thermostat's own, in the kept unit
        self.hours: list[list[Any]] = []  # [hour, mean]
        self._hour = -1
        self._values: list[float] = []
        self.held: dict[str, int] = {}  # kind -> since when the limit has been passed

    def bucket(self, at_ms: int, value: float, standing: Standing, out: list[Finding]) -> None:
        """Five more minutes of the probe."""
        hour = (at_ms - BUCKET_MS) // HOUR_MS
        if hour != self._hour:
            if self._values:
                self.hours.append([self._hour, fmean(self._values)])
                del self.hours[:-KEPT_HOURS]
            self._hour, self._values = hour, []
        self._values.append(value)
        if not self.rate_limits:
            return
        for index, (verb, kind) in enumerate(_TURN):
            worst = None
            for limit in self.rate_limits:
                change, allowed = self._change(at_ms, value, limit, rising=index == 0)
                if change > allowed and (worst is None or change / allowed > worst[0]):
                    worst = (change / allowed, change, limit)
            self._judge(at_ms, value, kind, verb, worst, standing, out)

    def _change(
        self, at_ms: int, value: float, limit: RateLimit, *, rising: bool
    ) -> tuple[float, float]:
        """How far it went one way within the span, and how far it may."""
        guard = self._guard()
        allowed = (limit.rise if rising else limit.fall) + self.swing + guard
        if limit.span_ms <= KEPT_BUCKETS * BUCKET_MS:
            since = at_ms - limit.span_ms
            seen = [b.value for b in self.witness.buckets if b.end_ms > since]
        else:
            # a whole mean needs its hour over
            since_hour = (at_ms - limit.span_ms) // HOUR_MS
            seen = [mean for hour, mean in self.hours if hour >= since_hour]
            if self._values:
                value = (
                    fmean(self._values) if len(self._values) > 6 else seen[-1] if seen else value
                )
            allowed -= self.swing / 2  # hourly means hold half of it
        if not seen:
            return 0.0, allowed
        return (value - min(seen) if rising else max(seen) - value), allowed

    def _guard(self) -> float:
        quantity = self.witness.probe.quantity
        if quantity is Quantity.TEMPERATURE:
            return self.limits.rate_guard_celsius
        return self.limits.rate_guard_ph if quantity is Quantity.PH else 0.0

    def _judge(
        self,
        at_ms: int,
        value: float,
        kind: Kind,
        verb: str,
        worst: tuple[float, float, RateLimit] | None,
        standing: Standing,
        out: list[Finding],
    ) -> None:
        quantity = self.witness.probe.quantity
        probe = self.witness.spoken_as
        if worst is None:
            self.held.pop(kind, None)
            if standing.holds(kind, quantity, probe):
                said = f"{shown(quantity, value)}, within the rate limit again"
                over = Seen(
                    kind=kind, quantity=quantity, probe=probe, since_ms=at_ms, value=value,
                    message=said,
                )  # fmt: skip
                standing.end(at_ms, over, out)
            return
        since_ms = self.held.setdefault(kind, at_ms - BUCKET_MS)
        if at_ms - since_ms < self.limits.rate_hold_ms:
            return
        _, change, limit = worst
        may = limit.rise if kind is Kind.RISING_TOO_FAST else limit.fall
        seen = Seen(
            kind=kind,
            quantity=quantity,
            probe=probe,
            since_ms=since_ms,
            value=value,
            message=f"{shown(quantity, value)}: {verb} {shown_difference(quantity, change)} within "
            f"{span_text(limit.span_ms)}, at most {apart(f'{may:g}', KEPT[quantity].unit)} is "
            "advised",
            step=2 * self._guard() or None,
        )
        standing.see(at_ms, seen, out)

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [self.hours, self._hour, self._values, self.held, self.swing]

    def load(self, row: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        self.hours, self._hour, self._values, self.held, self.swing = row
