"""A water change: what is left of the old water, how many changes, and what evaporation adds.

Holds for what mixes in proportion: hardness, alkalinity, nitrate, conductivity. Not for pH.
"""

import math

from roewatch.room.measured import LITRES, measured
from roewatch.water.refusal import RefusedError, within


def after_changes(*, now: float, source: float, fraction: float, times: int = 1) -> float:
    """A value after `times` changes of `fraction` (0-1) with water of `source`; any one unit.

    C = Cs + (C0 - Cs)(1 - f)^n. Raises RefusedError for a fraction outside 0-1 or times below 0.
    """
    within(fraction, 0.0, 1.0, what="fraction changed")
    if times < 0:
        raise RefusedError(f"{times} changes were asked for; give 0 or more.")
    return source + (now - source) * float((1.0 - fraction) ** times)


def changes_needed(*, now: float, source: float, wanted: float, fraction: float) -> int:
    """How many changes of `fraction` bring `now` to `wanted` or just past it.

    Raises RefusedError if the source lies on the wrong side: no number of changes would do.
    """
    within(fraction, 0.001, 0.999, what="fraction changed")
    if now == wanted:
        return 0
    if (wanted - source) * (now - source) <= 0.0 or abs(wanted - source) > abs(now - source):
        raise RefusedError(
            f"water of {source:g} can never bring {now:g} to {wanted:g}. "
            "The source must lie beyond what is wanted."
        )
    exact = math.log((wanted - source) / (now - source)) / math.log(1.0 - fraction)
    return math.ceil(exact - 1e-9)


def after_drip(*, now: float, source: float, litres_in: float, litres: float) -> float:
    """A value after dripping `litres_in` through a tank of `litres` that overflows as it fills."""
    within(litres, 0.01, 1e6, what="tank volume", unit="L")
    within(litres_in, 0.0, 1e6, what="water dripped", unit="L")
    return source + (now - source) * math.exp(-litres_in / litres)


def steady_state(*, source: float, gain: float, fraction: float) -> tuple[float, float]:
    """(just after, just before) a change, once routine has settled.

    gain: what the tank gains between two changes, e.g. nitrate. fraction: of each change.
    """
    within(fraction, 0.001, 1.0, what="fraction changed")
    return source + gain * (1.0 - fraction) / fraction, source + gain / fraction


def concentrated(*, now: float, litres: float, lost: float) -> float:
    """A value after `lost` litres of pure water have gone from a tank of `litres`.

    Raises RefusedError if that is half the tank or more: then something else is wrong.
    """
    within(litres, 0.01, 1e6, what="tank volume", unit="L")
    if not 0.0 <= lost < 0.5 * litres:
        raise RefusedError(
            f"{measured(f'{lost:g}', LITRES)} lost from "
            f"{measured(f'{litres:g}', LITRES)} is not evaporation. Look for a leak."
        )
    return now * litres / (litres - lost)


def creep_per_day(*, top_up: float, lost_per_day: float, litres: float) -> float:
    """How much a value rises each day when what evaporates is replaced with water of `top_up`.

    Rain or RO near nought keeps it still; tap water does not.
    """
    within(litres, 0.01, 1e6, what="tank volume", unit="L")
    within(lost_per_day, 0.0, 0.5 * litres, what="water lost a day", unit="L")
    return lost_per_day * top_up / litres


def temperature_after(*, tank: float, source: float, fraction: float) -> float:
    """°C just after a change of `fraction` with water of `source` °C."""
    return after_changes(now=tank, source=source, fraction=fraction)
