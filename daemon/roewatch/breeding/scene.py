"""A scene: all that one brood's to-dos are made from, at one moment."""

from dataclasses import dataclass

from roewatch.breeding.brood import Brood
from roewatch.breeding.development import Leg
from roewatch.breeding.forecast import BroodForecast, Expected
from roewatch.breeding.livefood import Culture
from roewatch.breeding.todo import Task, Todo
from roewatch.room.species import SpeciesSheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One brood at `now_ms`, with its sheet, its forecast and its cultures; zone: of the room."""

    brood: Brood
    sheet: SpeciesSheet
    forecast: BroodForecast
    cultures: tuple[Culture, ...]
    now_ms: int
    zone: str

    @property
    def hatch(self) -> Expected | None:
        """The hatch, forecast or recorded."""
        return self.forecast.expected(Leg.HATCH)

    @property
    def swimming(self) -> Expected | None:
        """Free-swimming, forecast or recorded."""
        return self.forecast.expected(Leg.SWIMMING)

    def todo(
        self,
        task: Task,
        words: str,
        times: tuple[int, int, int],
        *,
        detail: str = "",
        why: str = "",
        caution: str = "",
    ) -> Todo:
        """A to-do of this brood. times: not before, best by, late from."""
        from_ms, due_ms, to_ms = times
        return Todo(
            key="/".join(part for part in (self.brood.id, task.value, detail) if part),
            task=task,
            brood=self.brood.id,
            tank=self.brood.tank,
            words=words,
            from_ms=from_ms,
            due_ms=due_ms,
            to_ms=to_ms,
            why=why,
            caution=caution,
        )
