"""Honesty: what a probe's own readings say of the probe: broken, stuck, noisy or patchy."""

from itertools import groupby
from typing import Final

from roewatch.judging.finding import Finding
from roewatch.judging.quality import sensor_code
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.testimony import BUCKET_MS
from roewatch.judging.witness import KEPT_BUCKETS, Witness
from roewatch.room.kind import Kind
from roewatch.room.measured import measured
from roewatch.room.moment import MINUTE_MS, span_text
from roewatch.room.quantity import KEPT, Quantity, shown

_NOISE_LEAST: Final = 6  # readings
_PATCHY_LEAST: Final = 12  # readings due; of fewer nobody can say
_DUMB_MS: Final = 3 * MINUTE_MS


def judge_honesty(
    witness: Witness, standing: Standing, *, should_move: bool, out: list[Finding]
) -> None:
    """One more look at one probe. should_move: a heater at work moves what it measures."""
    at_ms = witness.heard_ms
    quantity, probe = witness.probe.quantity, witness.id
    limit_ms = witness.flat_suspect_ms if should_move else witness.flat_fail_ms
    if witness.flat_ms >= limit_ms:
        _stuck(witness, standing, out)
    elif witness.flat_ms < BUCKET_MS and standing.holds(Kind.PROBE_STUCK, quantity, probe):
        _end(witness, Kind.PROBE_STUCK, standing, "the probe moves again", out)
    elif witness.dumb_since >= 0 and at_ms - witness.dumb_since >= _DUMB_MS:
        _broken(witness, standing, out)
    if witness.dumb_since < 0 and standing.holds(Kind.PROBE_FAULT, quantity, probe):
        _end(witness, Kind.PROBE_FAULT, standing, "the probe gives believable numbers again", out)


def _stuck(witness: Witness, standing: Standing, out: list[Finding]) -> None:
    quantity, at_ms = witness.probe.quantity, witness.heard_ms
    if not standing.due(at_ms, Kind.PROBE_STUCK, quantity, witness.id):
        return
    standing.see(
        at_ms,
        Seen(
            kind=Kind.PROBE_STUCK,
            quantity=quantity,
            probe=witness.id,
            since_ms=at_ms - witness.flat_ms,
            value=witness.flat_value,
            message=f"{shown(quantity, witness.flat_value)} without the least change for "
            f"{span_text(witness.flat_ms)}; the longest before was "
            f"{span_text(witness.longest_ms)}",
        ),
        out,
    )


def _broken(witness: Witness, standing: Standing, out: list[Finding]) -> None:
    quantity, at_ms = witness.probe.quantity, witness.heard_ms
    if not standing.due(at_ms, Kind.PROBE_FAULT, quantity, witness.id):
        return
    meaning = sensor_code(witness.bad_value)
    given = measured(f"{witness.bad_value:g}", KEPT[quantity].unit)
    said = meaning or f"{given}, which no {quantity} can be"
    standing.see(
        at_ms,
        Seen(
            kind=Kind.PROBE_FAULT,
            quantity=quantity,
            probe=witness.id,
            since_ms=witness.dumb_since,
            message=f"the probe gives nothing but {said} for "
            f"{span_text(at_ms - witness.dumb_since)}; the water is not being watched",
        ),
        out,
    )


def _end(
    witness: Witness, kind: Kind, standing: Standing, message: str, out: list[Finding]
) -> None:
    seen = Seen(
        kind=kind,
        quantity=witness.probe.quantity,
        probe=witness.id,
        since_ms=witness.heard_ms,
        value=witness.f,
        message=message,
    )
    standing.end(witness.heard_ms, seen, out)


def judge_noise(witness: Witness, standing: Standing, out: list[Finding]) -> None:
    """One more bucket: is the second difference several times the probe's own norm?"""
    bucket = witness.buckets[-1]
    limits, at_ms = witness.limits, bucket.end_ms
    if bucket.jitter <= 0:
        return
    quantity = witness.quantity
    if quantity is Quantity.TEMPERATURE:
        floor = 0.08
    else:
        floor = 0.03 if quantity is Quantity.PH else 0.02 * abs(bucket.value)
    norm = max(floor, witness.norm)
    # of a probe that speaks every half hour two bumps are no noise
    hold_ms = max(limits.noisy_hold_ms, _NOISE_LEAST * witness.every_ms)
    if witness.norm_count >= 72 and bucket.jitter > limits.noisy_factor * norm:
        witness.calm_since = -1
        if witness.noisy_since < 0:
            witness.noisy_since = at_ms - BUCKET_MS
        if at_ms - witness.noisy_since >= hold_ms:
            seen = Seen(
                kind=Kind.PROBE_NOISY,
                quantity=quantity,
                probe=witness.id,
                since_ms=witness.noisy_since,
                value=bucket.value,
                message=f"readings jump about {bucket.jitter / norm:.0f} times as much as usual "
                f"for {span_text(at_ms - witness.noisy_since)}; the mean is "
                f"{shown(quantity, bucket.value)}",
            )
            standing.see(at_ms, seen, out)
        return
    witness.noisy_since = -1
    if standing.told and standing.holds(Kind.PROBE_NOISY, quantity, witness.id):
        if witness.calm_since < 0:
            witness.calm_since = at_ms
        if at_ms - witness.calm_since >= hold_ms:
            _end(witness, Kind.PROBE_NOISY, standing, "readings are calm again", out)
        return
    # a slow mean of calm buckets: the norm of about a day
    witness.norm_count += 1
    weight = max(1 / witness.norm_count, 1 / 288)
    witness.norm += weight * (bucket.jitter - witness.norm)


def judge_patchy(witness: Witness, standing: Standing, out: list[Finding]) -> None:
    """One more bucket: which share of the readings due in the last while did not come?"""
    limits = witness.limits
    due = BUCKET_MS / witness.every_ms
    span_ms = limits.patchy_span_ms if due >= 1 else KEPT_BUCKETS * BUCKET_MS
    span = span_ms // BUCKET_MS
    received = witness.received
    if witness.probe.derived:  # it is as patchy as its inputs
        return
    if due * span < _PATCHY_LEAST or len(received) < span:
        return
    seen = received[-span:]
    witness.complete = min(seen) >= witness.plenty
    missing = 1 - sum(seen) / (due * span)
    if missing < limits.patchy_share and not standing.told:
        return
    quantity, at_ms = witness.probe.quantity, (witness.received_five + 1) * BUCKET_MS
    if missing >= limits.patchy_share and not _in_one_piece(seen, due, limits.patchy_share):
        message = f"{missing:.0%} of the readings due in {span_text(span_ms)} missing"
        standing.see(
            at_ms,
            Seen(
                kind=Kind.PROBE_PATCHY,
                quantity=quantity,
                probe=witness.id,
                since_ms=at_ms - span_ms,
                message=message,
            ),
            out,
        )
    elif missing <= limits.patchy_over_share and standing.holds(
        Kind.PROBE_PATCHY, quantity, witness.id
    ):
        _end(witness, Kind.PROBE_PATCHY, standing, "readings come regularly again", out)


def _in_one_piece(seen: list[int], due: float, share: float) -> bool:
    """Whether what is missing is a hole: that is silence, not patchiness."""
    if due >= 1:
        return seen.count(0) >= len(seen) * 0.2
    # a probe that speaks seldom leaves most five minutes empty: is the rest patchy, too?
    runs = groupby(seen, lambda readings: readings == 0)
    longest = max((len(list(run)) for empty, run in runs if empty), default=0)
    rest = due * (len(seen) - longest)
    return 1 - sum(seen) / rest < share if rest > 1 else True
