"""Bounds: whether the water is inside its window, with deadband, on-delay and off-delay.

All three run by event time on the median of three minutes; a minute without believed readings
neither raises nor clears anything.
"""

from math import inf
from typing import NamedTuple

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS, span_text
from roewatch.room.quantity import KEPT, Quantity, shown, shown_difference, shown_window
from roewatch.room.window import Window


class Bounds(NamedTuple):
    """What a probe is held against. uncertainty: how far outside cannot be told from inside.

    low, high: the window's bounds, endless where it has none.
    """

    window: Window
    deadband: float
    uncertainty: float
    low: float
    high: float


def bounds_of(window: Window, quantity: Quantity, limits: Limits) -> Bounds:
    """The bounds of a quantity with its deadband, all in its kept unit."""
    if quantity is Quantity.TEMPERATURE:
        deadband, uncertainty = limits.deadband_celsius, 0.0
    elif quantity is Quantity.PH:
        deadband, uncertainty = limits.deadband_ph, limits.ph_uncertainty
    else:
        edge = max(abs(window.low or 0.0), abs(window.high or 0.0))
        deadband, uncertainty = edge * limits.deadband_share, 0.0
    low = -inf if window.low is None else window.low
    high = inf if window.high is None else window.high
    return Bounds(window, deadband, uncertainty, low, high)


def judge_bounds(
    witness: Witness,
    bounds: Bounds,
    standing: Standing,
    out: list[Finding],
    *,
    margin: float = 0.0,
    doubtful: bool = False,
) -> None:
    """One more minute of one probe against its window.

    margin: how much wider the window is just now, because of a logged water change.
    doubtful: it is not known yet whether the probe or the water has jumped: count, do not tell.
    """
    window, value, at_ms = bounds.window, witness.f, witness.f_at
    low = bounds.low - margin - bounds.uncertainty
    high = bounds.high + margin + bounds.uncertainty
    outside = -1 if value < low else 1 if value > high else 0
    if outside:
        if witness.out_since < 0:
            witness.out_since = at_ms - MINUTE_MS
        if not doubtful:
            _out(witness, bounds, outside, standing, out)
        return
    witness.out_since = -1
    if not witness.side:
        return
    clear = (
        (window.low is None or value >= window.low + bounds.deadband - bounds.uncertainty)
        if witness.side < 0
        else (window.high is None or value <= window.high - bounds.deadband + bounds.uncertainty)
    )
    if not clear:
        witness.in_since = -1
        return
    if witness.in_since < 0:
        witness.in_since = at_ms
    limits = witness.limits
    again = witness.last_over_ms >= 0 and at_ms - witness.last_over_ms < limits.again_ms
    # water that goes in and out with every cycle is told once, not at every turn
    delay_ms = limits.again_off_delay_ms if again else limits.off_delay_ms
    if at_ms - witness.in_since >= delay_ms:
        _over(witness, bounds, standing, out)


def _out(
    witness: Witness, bounds: Bounds, outside: int, standing: Standing, out: list[Finding]
) -> None:
    at_ms = witness.f_at
    witness.in_since = -1
    if witness.side and witness.side != outside:
        _over(witness, bounds, standing, out)
    if not witness.side and at_ms - witness.out_since < witness.limits.on_delay_ms:
        return
    witness.side = outside
    kind = Kind.ABOVE_WINDOW if outside > 0 else Kind.BELOW_WINDOW
    if standing.due(at_ms, kind, witness.probe.quantity):
        standing.see(at_ms, _seen(witness, bounds, outside, witness.out_since), out)


def _seen(witness: Witness, bounds: Bounds, outside: int, since_ms: int) -> Seen:
    quantity = witness.probe.quantity
    by = abs(bounds.window.outside_by(witness.f))
    far = f"{shown_difference(quantity, by)} {'above' if outside > 0 else 'below'}"
    parts = [
        f"{shown(quantity, witness.f)}, {far} the window {shown_window(quantity, bounds.window)}",
        f"for {span_text(witness.f_at - since_ms)}",
    ]
    moving = _moving(witness)
    if moving:
        parts.append(moving)
    return Seen(
        kind=Kind.ABOVE_WINDOW if outside > 0 else Kind.BELOW_WINDOW,
        quantity=quantity,
        since_ms=since_ms,
        value=witness.f,
        message=", ".join(parts),
        window=bounds.window.text(KEPT[quantity].digits),
        step=bounds.deadband * 2,
    )


def _moving(witness: Witness) -> str:
    """Which way the value went over the last half hour, or empty when it held."""
    buckets = witness.buckets[-7:]
    if len(buckets) < 4:
        return ""
    span_ms = buckets[-1].end_ms - buckets[0].end_ms
    per_h = (buckets[-1].value - buckets[0].value) / span_ms * 3_600_000
    quantity = witness.probe.quantity
    kept = KEPT[quantity]
    if abs(per_h) < 2 * 10**-kept.digits:
        return "holding"
    hourly = "/h" if kept.unit else " an hour"
    word = "rising" if per_h > 0 else "falling"
    return f"{word} {shown_difference(quantity, abs(per_h))}{hourly}"


def _over(witness: Witness, bounds: Bounds, standing: Standing, out: list[Finding]) -> None:
    quantity = witness.probe.quantity
    window = shown_window(quantity, bounds.window)
    kind = Kind.ABOVE_WINDOW if witness.side > 0 else Kind.BELOW_WINDOW
    since = standing.told.get((kind, quantity, None))
    lasted = f" after {span_text(witness.f_at - since.since_ms)}" if since else ""
    seen = Seen(
        kind=kind,
        quantity=quantity,
        since_ms=witness.f_at,
        value=witness.f,
        message=f"{shown(quantity, witness.f)}, back in the window {window}{lasted}",
        window=bounds.window.text(KEPT[quantity].digits),
    )
    witness.side = 0
    witness.in_since = -1
    witness.last_over_ms = witness.f_at
    standing.end(witness.f_at, seen, out)
