"""A species sheet: what one kind of fish wants, stage by stage, each number with its source."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
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


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeciesSheet:
    """One species. Windows and rates a stage does not name are taken from `holding`."""

    id: str  # file name without .toml, e.g. boraras-brigittae
    latin: str
    windows: Mapping[Stage, Mapping[Quantity, Window]]
    rates: Mapping[Stage, Mapping[Quantity, tuple[RateLimit, ...]]]
    hatch: tuple[HatchFact, ...] = ()
    light_shy_eggs: bool = False
    first_food: str = ""
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
