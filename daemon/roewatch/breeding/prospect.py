"""A prospect: what the clocks say of one brood, from its records, its water and its species."""

from collections.abc import Mapping, Sequence
from datetime import time

from roewatch.breeding.brood import Brood
from roewatch.breeding.count import Counted
from roewatch.breeding.development import CannotSay, Development, Leg, development_of
from roewatch.breeding.forecast import BroodForecast, forecast
from roewatch.breeding.light import LightHours, brood_light
from roewatch.breeding.livefood import Culture, cultures
from roewatch.breeding.own import OwnLeg, mixed
from roewatch.breeding.proposal import CONDITIONED_MS
from roewatch.breeding.temperatures import Temperatures, temperatures_of
from roewatch.room.quantity import Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage


def brood_temperatures(
    brood: Brood, sheet: SpeciesSheet, readings: Sequence[tuple[int, float]], now_ms: int
) -> Temperatures | None:
    """The brood's water from spawning on; before the first reading the egg window's middle."""
    window = sheet.window(Stage.EGGS, Quantity.TEMPERATURE)
    ends = [end for end in (window.low, window.high) if end is not None] if window else []
    return temperatures_of(
        readings,
        nominal=sum(ends) / len(ends) if ends else None,
        from_ms=brood.spawned_ms if brood.spawned_ms is not None else now_ms,
        to_ms=now_ms,
    )


def developments_of(
    sheet: SpeciesSheet, sheets: Mapping[str, SpeciesSheet], own: Sequence[OwnLeg] = ()
) -> dict[Leg, Development | CannotSay]:
    """Both legs of a species, drawn towards the keeper's own broods."""
    found: dict[Leg, Development | CannotSay] = {}
    for leg in Leg:
        development = development_of(sheet, leg, sheets)
        if isinstance(development, Development):
            development = mixed(development, own)
        found[leg] = development
    return found


def brood_forecast(
    brood: Brood,
    developments: Mapping[Leg, Development | CannotSay],
    temperatures: Temperatures | None,
    now_ms: int,
    *,
    spawning_ms: int | None = None,
) -> BroodForecast:
    """Hatch and free-swimming of `brood`.

    spawning_ms: the `supposed_spawning` of a brood that has no eggs yet; its windows are supposed
    too, and only to count cultures back from.
    """
    return forecast(
        developments=developments,
        temperatures=temperatures,
        spawned_ms=brood.spawned_ms if brood.spawned_ms is not None else spawning_ms,
        hatched_ms=brood.hatched_ms,
        swimming_ms=brood.swimming_ms,
        now_ms=now_ms,
    )


def supposed_spawning(brood: Brood, now_ms: int, zone: str) -> int | None:
    """When eggs may be expected of a brood that has none, to count cultures back from.

    The next time the light goes on while the pair is set to spawn; while it is conditioned, once
    that has taken its time. None for a brood that has eggs, or where neither is known.
    """
    if brood.spawned_ms is not None or brood.stage_ms is None:
        return None
    hours = brood_light(brood) or LightHours(on=time(8), off=time(20))
    earliest_ms = now_ms
    if brood.stage is Stage.CONDITIONING:
        earliest_ms = max(now_ms, brood.stage_ms + CONDITIONED_MS)
    elif brood.stage is not Stage.SPAWNING:
        return None
    return next(dawn for _, dawn in hours.dawns(earliest_ms, 3, zone) if dawn > earliest_ms)


def brood_cultures(
    brood: Brood, sheet: SpeciesSheet, forecast: BroodForecast
) -> tuple[Culture, ...]:
    """The live food this brood needs; empty when its free-swimming cannot be forecast."""
    swimming = forecast.expected(Leg.SWIMMING)
    return () if swimming is None else cultures(sheet, swimming, fry=mouths(brood))


def mouths(brood: Brood) -> int | None:
    """How many young there are to feed, by the latest count; None before one was counted."""
    for kind in (Counted.DAY_30, Counted.DAY_14, Counted.SWIMMING, Counted.HATCHED):
        count = brood.counts.get(kind)
        if count is not None:
            return round(count.middle)
    return None
