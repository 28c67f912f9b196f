"""What the pages of broods ask of the rest: the records kept, what the clocks say, and to record.

Every refusal of a deed is a ValueError with text for the person.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from roewatch.breeding.brood import Brood
from roewatch.breeding.development import CannotSay, Leg
from roewatch.breeding.feed import Event
from roewatch.breeding.forecast import BroodForecast
from roewatch.breeding.livefood import Culture
from roewatch.breeding.record import BroodRecord
from roewatch.breeding.todo import Todo
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A change of stage the clock calls for, and why. The keeper decides."""

    tank: str
    stage: Stage
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BroodOutlook:
    """What the clocks say of one brood at one moment.

    todos: in order, ticked ones left out. moved: what the live-food calendar says differently
    since it was last told. mean_celsius: of the eggs' water since spawning; None without readings.
    """

    forecast: BroodForecast
    todos: tuple[Todo, ...] = ()
    cultures: tuple[Culture, ...] = ()
    moved: tuple[str, ...] = ()
    proposal: Proposal | None = None
    mean_celsius: float | None = None


class BroodBook(Protocol):
    """The broods of the room. Called from several threads."""

    def records(self, brood: str | None = None) -> Sequence[BroodRecord]:
        """Every record of one brood, or of all; superseded ones too."""

    def broods(self) -> Sequence[Brood]:
        """Every brood there are records of, by when it started."""

    def sheets(self) -> Mapping[str, SpeciesSheet]:
        """The species sheets by id."""

    def outlook(self, brood: Brood, now_ms: int) -> BroodOutlook:
        """What the clocks say of a brood."""

    def eggs_celsius(self, brood: Brood, now_ms: int) -> float | None:
        """What a brood's eggs stood at, on the mean, until they hatched; None where unmeasured."""

    def calendar(self, now_ms: int) -> Mapping[str, Event]:
        """The feed of all broods, by key; what it says is remembered as published."""

    def record(self, records: Sequence[BroodRecord]) -> None:
        """Keep records, each id once, and what follows from them."""


class NoBroods:
    """A room whose broods nobody keeps: nothing to see, and nothing can be recorded."""

    def records(self, brood: str | None = None) -> Sequence[BroodRecord]:
        """None, whichever brood is asked for."""
        del brood
        return ()

    def broods(self) -> Sequence[Brood]:
        """None."""
        return ()

    def sheets(self) -> Mapping[str, SpeciesSheet]:
        """None."""
        return {}

    def outlook(self, brood: Brood, now_ms: int) -> BroodOutlook:
        """Nothing can be told."""
        del brood, now_ms
        why = "cannot say: broods are not kept here"
        return BroodOutlook(
            forecast=BroodForecast(
                hatch=CannotSay(leg=Leg.HATCH, why=why),
                swimming=CannotSay(leg=Leg.SWIMMING, why=why),
            )
        )

    def eggs_celsius(self, brood: Brood, now_ms: int) -> float | None:
        """Not known."""
        del brood, now_ms
        return None

    def calendar(self, now_ms: int) -> Mapping[str, Event]:
        """Nothing to publish."""
        del now_ms
        return {}

    def record(self, records: Sequence[BroodRecord]) -> None:
        """Refused."""
        del records
        raise ValueError("broods are not kept here")


NO_BROODS = NoBroods()
