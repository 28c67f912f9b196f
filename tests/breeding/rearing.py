"""Builders for broods: one water, one species, named by what matters in a test."""

from roewatch.breeding.brood import Brood, brood_of
from roewatch.breeding.count import Counted, count_of
from roewatch.breeding.development import CannotSay, Development, Leg
from roewatch.breeding.forecast import BroodForecast, Expected, forecast
from roewatch.breeding.prospect import (
    brood_cultures,
    brood_forecast,
    brood_temperatures,
    developments_of,
    supposed_spawning,
)
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.breeding.tasks import todos
from roewatch.breeding.temperatures import Temperatures, temperatures_of
from roewatch.breeding.todo import Task, Todo
from roewatch.room.moment import HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.species import read_sheets

ZONE = "Europe/Tallinn"
EIGHT = at_ms_of_iso("2026-11-27T08:00:00+02:00")
"""Spawning in most tests: an hour after the lights of the Boathouse go on."""

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


class Attempt:
    """One brood, told act by act; each at so many hours after `EIGHT`."""

    def __init__(
        self, species: str, *, light: str = "07:00-21:00", stage: str = "spawning"
    ) -> None:
        self.sheet = SHEETS[species]
        self._records: list[BroodRecord] = []
        self.tell(BroodAct.STARTED, -72, tank="B2", species=species, light=light, stage=stage)

    def tell(
        self,
        act: BroodAct,
        hours: float,
        *,
        detail: str = "",
        tank: str = "",
        count: str = "",
        counted: Counted | None = None,
        **fields: str,
    ) -> "Attempt":
        """Record an act."""
        at_ms = EIGHT + round(hours * HOUR_MS)
        self._records.append(
            BroodRecord(
                id=f"r{len(self._records)}",
                brood="2026-14",
                at_ms=at_ms,
                made_ms=at_ms,
                act=act,
                tank=tank,
                detail=detail,
                counted=counted,
                count=count_of(count) if count else None,
                fields=fields,
            )
        )
        return self

    @property
    def brood(self) -> Brood:
        """The brood as told so far."""
        return brood_of("2026-14", self._records)

    def foreseen(self, hours: float, celsius: float = 25.0) -> BroodForecast:
        """Its forecast in water of `celsius`, so many hours after `EIGHT`."""
        now_ms = EIGHT + round(hours * HOUR_MS)
        every = 10 * MINUTE_MS
        readings = [(at, celsius) for at in range(EIGHT, now_ms + 1, every)]
        return brood_forecast(
            self.brood,
            developments(self.sheet.id),
            brood_temperatures(self.brood, self.sheet, readings, now_ms),
            now_ms,
            spawning_ms=supposed_spawning(self.brood, now_ms, ZONE),
        )

    def todos(self, hours: float, celsius: float = 25.0) -> tuple[Todo, ...]:
        """Its to-dos, so many hours after `EIGHT`."""
        found = self.foreseen(hours, celsius)
        return todos(
            self.brood,
            self.sheet,
            found,
            brood_cultures(self.brood, self.sheet, found),
            now_ms=EIGHT + round(hours * HOUR_MS),
            zone=ZONE,
        )

    def of(self, task: Task, hours: float, celsius: float = 25.0) -> list[Todo]:
        """Its to-dos of one kind."""
        return [todo for todo in self.todos(hours, celsius) if todo.task is task]


def after(todo_ms: int) -> float:
    """Hours after `EIGHT`."""
    return (todo_ms - EIGHT) / HOUR_MS
