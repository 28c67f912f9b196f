"""Builders for broods: one water, one species, named by what matters in a test."""

from roewatch.breeding.development import CannotSay, Development, Leg
from roewatch.breeding.forecast import BroodForecast, Expected, forecast
from roewatch.breeding.prospect import developments_of
from roewatch.breeding.temperatures import Temperatures, temperatures_of
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.species import read_sheets

SHEETS = read_sheets(shipped_config() / "species").by_id


def developments(species: str) -> dict[Leg, Development | CannotSay]:
    """Both legs as the shipped sheets tell them."""
    return developments_of(SHEETS[species], SHEETS)


def steady(celsius: float, hours: float) -> Temperatures:
    """Water measured every ten minutes at one temperature for so long."""
    every = 10 * MINUTE_MS
    readings = [(at, celsius) for at in range(0, round(hours * HOUR_MS) + 1, every)]
    return water(readings, hours)


def water(readings: list[tuple[int, float]], hours: float) -> Temperatures:
    """Water with these readings, looked at after so many hours."""
    found = temperatures_of(readings, nominal=None, from_ms=0, to_ms=round(hours * HOUR_MS))
    assert found is not None
    return found


def foreseen(
    species: str,
    temperatures: Temperatures | None,
    *,
    hours: float = 0,
    hatched_ms: int | None = None,
    swimming_ms: int | None = None,
) -> BroodForecast:
    """The forecast of a brood spawned at 0, so many hours after it."""
    return forecast(
        developments=developments(species),
        temperatures=temperatures,
        spawned_ms=0,
        hatched_ms=hatched_ms,
        swimming_ms=swimming_ms,
        now_ms=round(hours * HOUR_MS),
    )


def window(found: BroodForecast, leg: Leg = Leg.HATCH) -> Expected:
    """The window of a leg that can be forecast."""
    expected = found.expected(leg)
    assert expected is not None, found
    return expected


def in_hours(expected: Expected) -> tuple[float, float, float]:
    """A window's three moments as hours from 0."""
    return (
        expected.from_ms / HOUR_MS,
        expected.likely_ms / HOUR_MS,
        expected.to_ms / HOUR_MS,
    )
