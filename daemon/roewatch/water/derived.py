"""Derived series: quantities no probe measures, from those that probes do, with their guards."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.window import Basis, Window
from roewatch.water import ammonia, dioxide, oxygen
from roewatch.water.refusal import RefusedError

NEEDS: dict[Quantity, tuple[Quantity, ...]] = {
    Quantity.AMMONIA_FREE: (Quantity.AMMONIA_TOTAL, Quantity.PH, Quantity.TEMPERATURE),
    Quantity.OXYGEN_PERCENT: (Quantity.OXYGEN, Quantity.TEMPERATURE),
    Quantity.DIOXIDE: (Quantity.PH, Quantity.TEMPERATURE),
}
"""Probes each needs on the tank; dioxide also needs the keeper's KH."""
STALE_MS = 15 * MINUTE_MS
"""An input older than this says nothing about now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterFacts:
    """What the keeper knows and no probe tells.

    dkh: °dKH, None when not tested. tannin, phosphate: in the water. station_hpa: air pressure
    where the tank stands, hPa.
    """

    dkh: float | None = None
    tannin: bool = False
    phosphate: bool = False
    station_hpa: float = oxygen.ATM_HPA


@dataclass(frozen=True, slots=True, kw_only=True)
class Derivation:
    """Everything derivable at one moment. refused: why a value is missing, for the keeper."""

    values: Mapping[Quantity, float] = field(default_factory=dict)
    refused: Mapping[Quantity, str] = field(default_factory=dict)


def derive(
    latest: Mapping[Quantity, tuple[int, float]], *, at_ms: int, facts: WaterFacts
) -> Derivation:
    """What can be derived at `at_ms` from each quantity's latest good (at_ms, value).

    A missing or stale input leaves its value out without a word; a guard that forbids the sum
    leaves it out with the reason. Only readings flagged good belong in `latest`.
    """
    now = {
        quantity: value
        for quantity, (seen_ms, value) in latest.items()
        if at_ms - STALE_MS <= seen_ms <= at_ms
    }
    values: dict[Quantity, float] = {}
    refused: dict[Quantity, str] = {}
    for name, needs in NEEDS.items():
        if any(quantity not in now for quantity in needs):
            continue
        try:
            value = _value(name, now, facts)
        except RefusedError as reason:
            refused[name] = str(reason)
            continue
        if value is not None:
            values[name] = value
    return Derivation(values=values, refused=refused)


def _value(name: Quantity, now: Mapping[Quantity, float], facts: WaterFacts) -> float | None:
    celsius = now[Quantity.TEMPERATURE]
    if name is Quantity.AMMONIA_FREE:
        total = now[Quantity.AMMONIA_TOTAL]
        return ammonia.NH3_PER_N * ammonia.unionised_n(
            total_n=total, ph=now[Quantity.PH], celsius=celsius
        )
    if name is Quantity.OXYGEN_PERCENT:
        salinity = oxygen.salinity_of_conductivity(now.get(Quantity.CONDUCTIVITY, 0.0))
        return oxygen.percent(
            oxygen=now[Quantity.OXYGEN],
            celsius=celsius,
            pressure_hpa=facts.station_hpa,
            salinity=salinity,
        )
    if facts.dkh is None:
        return None
    return dioxide.from_kh(
        ph=now[Quantity.PH],
        dkh=facts.dkh,
        celsius=celsius,
        tannin=facts.tannin,
        phosphate=facts.phosphate,
    ).mg


def window(name: Quantity, stage: Stage) -> Window:
    """The window a derived value is judged against when the tank has none of its own."""
    if name is Quantity.AMMONIA_FREE:
        limit = ammonia.limit_for(stage)
        return Window(high=limit.nh3, basis=limit.basis, source=limit.source)
    if name is Quantity.OXYGEN_PERCENT:
        return Window(
            low=60.0,
            high=115.0,
            basis=Basis.ASSUMED,
            source="our own caution: about 5 mg/L at 25 °C; above 115 % gas bubbles can form",
        )
    return Window(
        high=dioxide.HARMFUL_MG,
        basis=Basis.COMMON_PRACTICE,
        source="common practice among keepers; no study behind it was found",
    )
