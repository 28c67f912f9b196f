"""Resting: a probe in its buffer is watched, through the store, until its reading moves no more."""

from collections.abc import Callable

from roewatch.room.moment import span_text
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Probe
from roewatch.storage.reader import Records
from roewatch.water.refusal import RefusedError
from roewatch.water.settling import patience_ms, watch

BANDS = {Quantity.PH: 0.02, Quantity.TEMPERATURE: 0.15}
OTHER_BAND = 2.0  # µS/cm
MOST_PERIODS = 8  # a probe that speaks seldom is given this many of its own periods


def rested(
    records: Records,
    probe: Probe,
    *,
    now_ms: Callable[[], int],
    wait: Callable[[], object],
    told: Callable[[str], None],
) -> float:
    """The raw number, in the kept unit, once it has come to rest; only readings from now on count.

    wait: returns when it is worth looking again. told: hears how it stands. Raises RefusedError
    when it has not come to rest in twice the usual patience.
    """
    band = BANDS.get(probe.quantity, OTHER_BAND)
    from_ms = now_ms()
    longest_ms = max(2 * patience_ms(None), patience_ms(None) + MOST_PERIODS * probe.every_ms)
    while (waited_ms := now_ms() - from_ms) < longest_ms:
        wait()
        seen = [
            (at_ms, raw)
            for cells in records.chunks(probe.id, from_ms, now_ms() + 1)
            for at_ms, raw in zip(cells.at_ms, cells.raw(), strict=True)
        ]
        if not seen:
            told(f"waiting for the probe to speak, {span_text(waited_ms)}")
            continue
        settled = watch(seen, band=band)
        told(
            f"{seen[-1][1]:.3f}  moved {settled.spread:.3f} lately, "
            f"rests below {band:g}; {span_text(waited_ms)}"
        )
        if settled.rest:
            return settled.value
    raise RefusedError(
        f"it did not come to rest in {span_text(longest_ms)}. Clean the glass, use fresh buffer, "
        "and see that the probe speaks."
    )
