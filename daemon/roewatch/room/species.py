"""A species sheet: what one kind of fish wants, stage by stage, each number with its source."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.staging import StagingFormula
from roewatch.room.window import Basis, RateLimit, Window


@dataclass(frozen=True, slots=True, kw_only=True)
class HatchFact:
    """One published or assumed development figure at one temperature.

    from_h, to_h: hours from the start event to the end event; celsius: at this temperature.
    """

    what: str  # "hatch" counts from spawning, "free-swimming" from hatching
    celsius: float | None
    from_h: float
    to_h: float
    basis: Basis
    source: str


class Daytime(StrEnum):
    """When a species spawns; the text value is what sheets write."""

    DAWN = "dawn"  # in the first hours of light
    DUSK = "dusk"
    NIGHT = "night"
    ANY = "any"


class Care(StrEnum):
    """Who stays with the eggs; the text value is what sheets write."""

    NONE = "none"  # they eat the eggs: all out at once
    PAIR = "pair"
    FEMALE = "female"  # a cave: she guards, and nobody has to go
    MALE = "male"  # the female goes out at once, the male when the young swim


class Food(StrEnum):
    """A live food the young take; the text value is what sheets write."""

    PROTOZOA = "protozoa"  # infusoria, Paramecium
    ARTEMIA = "artemia"  # newly hatched nauplii
    MICROWORM = "microworm"
    DAPHNIA = "daphnia"  # sifted


@dataclass(frozen=True, slots=True, kw_only=True)
class Spawning:
    """How a species spawns: at which times of day, and who cares for the eggs."""

    when: tuple[Daytime, ...]
    care: Care
    basis: Basis
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodSpan:
    """One live food: from and to which day after the first day of free-swimming it is fed."""

    what: Food
    from_d: float
    to_d: float
    basis: Basis
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeciesSheet:
    """One species. Windows and rates a stage does not name are taken from `holding`.

    staging: how its development depends on temperature, where that was measured; like: the id of
    the nearest relative whose dependence is taken where it was not.
    """

    id: str  # file name without .toml, e.g. boraras-brigittae
    latin: str
    windows: Mapping[Stage, Mapping[Quantity, Window]]
    rates: Mapping[Stage, Mapping[Quantity, tuple[RateLimit, ...]]]
    hatch: tuple[HatchFact, ...] = ()
    staging: StagingFormula | None = None
    like: str = ""
    light_shy_eggs: bool = False
    spawning: Spawning | None = None
    first_food: str = ""
    foods: tuple[FoodSpan, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)

    def window(self, stage: Stage, quantity: Quantity) -> Window | None:
        """The window for `stage`, else the one for holding, else None: no window, no judgement."""
        for wanted in (stage, Stage.HOLDING):
            found = self.windows.get(wanted, {}).get(quantity)
            if found is not None:
                return found
        return None

    def rate_limits(self, stage: Stage, quantity: Quantity) -> tuple[RateLimit, ...]:
        """The rate limits for `stage`, else those for holding, else none."""
        for wanted in (stage, Stage.HOLDING):
            found = self.rates.get(wanted, {}).get(quantity)
            if found:
                return found
        return ()
