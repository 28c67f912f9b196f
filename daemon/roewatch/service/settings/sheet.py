"""A written sheet: how a species sheet stands in its TOML file."""

from pydantic import Field

from roewatch.service.settings.rearing import (
    FoodEntry,
    HatchEntry,
    RelativeEntry,
    SpawningEntry,
    StagingEntry,
)
from roewatch.service.settings.sourced import Sourced
from roewatch.service.settings.written import Section, SpanMs, StageWord


class Band(Sourced):
    """A low and a high bound; one of them may be missing."""

    low: float | None = Field(default=None, examples=[22.0])
    high: float | None = Field(default=None, examples=[26.0])


class OtherBand(Band):
    """What another source says; about: when it gives one figure and no band."""

    about: float | None = Field(default=None, examples=[6.4])


class ChosenBand(Band):
    """The band that is judged by. others: what other sources say; why: what made the choice."""

    others: list[OtherBand] = Field(default_factory=list)
    why: str = Field(default="", examples=["the wider band; the narrow one is a tolerance class"])


class Step(Sourced):
    """One rate limit."""

    span: SpanMs = Field(examples=["1 h"])
    rise: float = Field(gt=0, examples=[1.0])
    fall: float = Field(gt=0, examples=[1.0])


class ChosenStep(Step):
    """The limit that is judged by, with what others say."""

    others: list[Step] = Field(default_factory=list)
    why: str = Field(default="", examples=["a thermostat's own swing would touch the narrower one"])


class FactEntry(Sourced):
    """`[facts]`: anything else worth knowing, in one sentence."""

    says: str = Field(min_length=1, examples=["few eggs a day in moss"])


class BandsByQuantity(Section):
    """`[windows.<stage>]`."""

    temperature: ChosenBand | None = None
    ph: ChosenBand | None = None
    conductivity: ChosenBand | None = None
    oxygen: ChosenBand | None = None
    level: ChosenBand | None = None
    flow: ChosenBand | None = None
    light: ChosenBand | None = None
    humidity: ChosenBand | None = None
    ammonia_total: ChosenBand | None = None
    power: ChosenBand | None = None
    ammonia_free: ChosenBand | None = None
    oxygen_percent: ChosenBand | None = None
    dioxide: ChosenBand | None = None


class StepsByQuantity(Section):
    """`[rates.<stage>]`."""

    temperature: list[ChosenStep] = Field(default_factory=list)
    ph: list[ChosenStep] = Field(default_factory=list)
    conductivity: list[ChosenStep] = Field(default_factory=list)
    oxygen: list[ChosenStep] = Field(default_factory=list)
    level: list[ChosenStep] = Field(default_factory=list)
    flow: list[ChosenStep] = Field(default_factory=list)
    light: list[ChosenStep] = Field(default_factory=list)
    humidity: list[ChosenStep] = Field(default_factory=list)
    ammonia_total: list[ChosenStep] = Field(default_factory=list)
    power: list[ChosenStep] = Field(default_factory=list)
    ammonia_free: list[ChosenStep] = Field(default_factory=list)
    oxygen_percent: list[ChosenStep] = Field(default_factory=list)
    dioxide: list[ChosenStep] = Field(default_factory=list)


class BandsByStage(Section):
    """`[windows]`."""

    holding: BandsByQuantity = BandsByQuantity()
    conditioning: BandsByQuantity = BandsByQuantity()
    spawning: BandsByQuantity = BandsByQuantity()
    eggs: BandsByQuantity = BandsByQuantity()
    larvae: BandsByQuantity = BandsByQuantity()
    fry: BandsByQuantity = BandsByQuantity()
    growing: BandsByQuantity = BandsByQuantity()


class StepsByStage(Section):
    """`[rates]`."""

    holding: StepsByQuantity = StepsByQuantity()
    conditioning: StepsByQuantity = StepsByQuantity()
    spawning: StepsByQuantity = StepsByQuantity()
    eggs: StepsByQuantity = StepsByQuantity()
    larvae: StepsByQuantity = StepsByQuantity()
    fry: StepsByQuantity = StepsByQuantity()
    growing: StepsByQuantity = StepsByQuantity()


class SameAs(Section):
    """`[same_as]`: a stage that takes over the windows of another where it has none of its own."""

    conditioning: StageWord | None = None
    spawning: StageWord | None = None
    eggs: StageWord | None = None
    larvae: StageWord | None = None
    fry: StageWord | None = None
    growing: StageWord | None = None


class WrittenSheet(Section):
    """One file in `species/`. sources: key to title and year.

    latin: may be left out only where the keeper's sheet adds to a shipped one.
    """

    latin: str = Field(default="", examples=["Boraras brigittae"])
    light_shy_eggs: bool = False
    first_food: str = Field(default="", examples=["infusoria"])
    sources: dict[str, str] = Field(default_factory=dict, examples=[{"FB": "FishBase, 2025"}])
    same_as: SameAs = SameAs()
    windows: BandsByStage = BandsByStage()
    rates: StepsByStage = StepsByStage()
    staging: StagingEntry | None = None
    relative: RelativeEntry | None = None
    hatch: list[HatchEntry] = Field(default_factory=list)
    spawning: SpawningEntry | None = None
    food: list[FoodEntry] = Field(default_factory=list)
    facts: dict[str, FactEntry] = Field(default_factory=dict)
