"""Entries: the parts of `room.toml` that stand many times: tanks, probes, contacts, people."""

from datetime import date
from typing import Literal

from pydantic import Field, field_validator

from roewatch.intake.binding import Format
from roewatch.room.kind import Priority
from roewatch.room.moment import SECOND_MS
from roewatch.room.stage import Stage
from roewatch.service.settings.written import (
    AtMs,
    Hours,
    Id,
    Pointer,
    PriorityWord,
    QuantityWord,
    RoleWord,
    SecretText,
    Section,
    SpanMs,
    StageWord,
    Topic,
)
from roewatch.views.visitor import Role

_FORMATS = ", ".join(Format)


class WindowOverride(Section):
    """The keeper's own bounds. A side that is not written stays as the species sheet has it."""

    low: float | None = Field(default=None, examples=[5.5])
    high: float | None = Field(default=None, examples=[6.5])


class RateOverride(Section):
    """The keeper's own rate limit; any for a quantity replace all of the sheet's for it."""

    span: SpanMs = Field(examples=["1 h"])
    rise: float = Field(gt=0, examples=[1.0])
    fall: float = Field(gt=0, examples=[0.5])


class QuantityWindows(Section):
    """Window overrides by quantity."""

    temperature: WindowOverride | None = None
    ph: WindowOverride | None = None
    conductivity: WindowOverride | None = None
    oxygen: WindowOverride | None = None
    level: WindowOverride | None = None
    flow: WindowOverride | None = None
    light: WindowOverride | None = None
    humidity: WindowOverride | None = None
    ammonia_total: WindowOverride | None = None
    power: WindowOverride | None = None
    ammonia_free: WindowOverride | None = None
    oxygen_percent: WindowOverride | None = None
    dioxide: WindowOverride | None = None


class StageWindows(QuantityWindows):
    """Window overrides for every stage, and those for one stage, which win."""

    holding: QuantityWindows | None = None
    conditioning: QuantityWindows | None = None
    spawning: QuantityWindows | None = None
    eggs: QuantityWindows | None = None
    larvae: QuantityWindows | None = None
    fry: QuantityWindows | None = None
    growing: QuantityWindows | None = None


class QuantityRates(Section):
    """Rate overrides by quantity."""

    temperature: list[RateOverride] | None = None
    ph: list[RateOverride] | None = None
    conductivity: list[RateOverride] | None = None
    oxygen: list[RateOverride] | None = None
    level: list[RateOverride] | None = None
    flow: list[RateOverride] | None = None
    light: list[RateOverride] | None = None
    humidity: list[RateOverride] | None = None
    ammonia_total: list[RateOverride] | None = None
    power: list[RateOverride] | None = None
    ammonia_free: list[RateOverride] | None = None
    oxygen_percent: list[RateOverride] | None = None
    dioxide: list[RateOverride] | None = None


class StageRates(QuantityRates):
    """Rate overrides for every stage, and those for one stage, which win."""

    holding: QuantityRates | None = None
    conditioning: QuantityRates | None = None
    spawning: QuantityRates | None = None
    eggs: QuantityRates | None = None
    larvae: QuantityRates | None = None
    fry: QuantityRates | None = None
    growing: QuantityRates | None = None


class TankEntry(Section):
    """`[[tank]]`. litres: water, not glass. heater_watts: 0 when unheated. portion: its daily food.

    dkh: carbonate hardness as last tested, °dKH; with it CO2 is estimated from pH. tannin,
    phosphate: in the water; then that sum would mislead and is not made.
    """

    id: Id = Field(examples=["A3"])
    name: str = Field(default="", max_length=80, examples=["Mosquito rasboras, pair 2"])
    litres: float = Field(gt=0, le=100_000, examples=[20.0])
    heater_watts: float = Field(default=0.0, ge=0, le=20_000, examples=[25.0])
    covered: bool = Field(default=True, examples=[True])
    rack: str = Field(default="", max_length=20, examples=["A"])
    shelf: int = Field(default=1, ge=1, le=99, examples=[1])
    place: int = Field(default=1, ge=1, le=999, examples=[3])
    species: str = Field(default="", examples=["boraras-brigittae"])
    stage: StageWord = Field(default=Stage.HOLDING, examples=["conditioning"])
    portion: str = Field(default="", max_length=120, examples=["2 pinches of flake, mornings"])
    dkh: float | None = Field(default=None, ge=0, le=60, examples=[4.0])
    tannin: bool = Field(default=False, examples=[True])
    phosphate: bool = Field(default=False, examples=[True])
    windows: StageWindows = StageWindows()
    rates: StageRates = StageRates()


class WaterEntry(Section):
    """`[[water]]`: a source water as last measured. litres: how much of it there is.

    kh, gh: °dKH, °dGH. conductivity: µS/cm at 25 °C. mains: from the water works.
    ph: left out for water that stood in the air, such as rain.
    """

    name: str = Field(min_length=1, max_length=80, examples=["roof rain"])
    litres: float | None = Field(default=None, gt=0, le=1_000_000, examples=[400.0])
    ph: float | None = Field(default=None, ge=2, le=11.5, examples=[5.9])
    kh: float = Field(ge=-50, le=160, examples=[0.1])
    gh: float = Field(default=0.0, ge=0, le=100, examples=[0.1])
    conductivity: float | None = Field(default=None, ge=0, le=10_000, examples=[10.0])
    celsius: float = Field(default=20.0, ge=0, le=50, examples=[12.0])
    measured: date | None = Field(default=None, examples=["2026-03-01"])
    mains: bool = Field(default=False, examples=[True])


class CalibrationEntry(Section):
    """value = raw * slope + offset, from `at` on."""

    at: AtMs = Field(examples=["2026-03-01T10:00:00Z"])
    slope: float = Field(default=1.0, examples=[1.0])
    offset: float = Field(default=0.0, examples=[-0.1])

    @field_validator("slope")
    @classmethod
    def _slope(cls, value: float) -> float:
        if value == 0:
            raise ValueError(
                "a slope of 0 makes every reading the same; write 1.0 to change nothing"
            )
        return value


class ProbeEntry(Section):
    """`[[probe]]`. id: `<tank>-<quantity>` in lower case when it is not written."""

    id: Id | None = Field(default=None, examples=["a3-temperature"])
    tank: str = Field(min_length=1, examples=["A3"])
    quantity: QuantityWord = Field(examples=["temperature"])
    topic: Topic = Field(examples=["room/a3/water"])
    format: Literal["plain", "json", "senml"] = Field(default="plain", examples=["json"])
    pointer: Pointer = Field(default="", examples=["/temperature"])
    time_pointer: Pointer = Field(default="", examples=["/t"])
    name: str = Field(default="", max_length=200, examples=["temperature"])
    unit: str = Field(default="", max_length=20, examples=["°C"])
    every: SpanMs = Field(default=60 * SECOND_MS, examples=["60 s"])
    resolution: float = Field(default=0.0, ge=0, examples=[0.0625])
    calibrations: list[CalibrationEntry] = Field(default_factory=list)

    @property
    def known_as(self) -> str:
        """The probe's id, written or made."""
        return self.id or f"{self.tank}-{self.quantity}".lower()


class WayEntry(Section):
    """One way to reach a contact. url: an Apprise address, or http(s) for the JSON webhook."""

    name: Id = Field(examples=["phone"])
    url: SecretText | None = None
    url_file: str = Field(default="", examples=["keeper-phone-url"])
    timeout: SpanMs = Field(default=15 * SECOND_MS, le=300 * SECOND_MS, examples=["15 s"])


class ContactEntry(Section):
    """`[[contact]]`: in the order in which they are told."""

    name: str = Field(min_length=1, max_length=80, examples=["Keeper"])
    ways: list[WayEntry] = Field(
        min_length=1, examples=[[{"name": "phone", "url": "https://127.0.0.1:9400/keeper"}]]
    )
    quiet: Hours = Field(default="", examples=["22:00-07:00"])
    lowest: PriorityWord = Field(default=Priority.LOW, examples=["medium"])


class PersonEntry(Section):
    """`[[person]]`: somebody who may log in. passphrase: a line `roewatch passphrase` makes."""

    name: str = Field(min_length=1, max_length=80, examples=["Keeper"])
    role: RoleWord = Field(default=Role.KEEPER, examples=["sitter"])
    passphrase: SecretText | None = None
    passphrase_file: str = Field(default="", examples=["keeper-passphrase"])


class ProgramEntry(Section):
    """`[[program]]`: a script that may ask the pages, by a token it sends along."""

    name: str = Field(min_length=1, max_length=80, examples=["shelf display"])
    role: RoleWord = Field(default=Role.GUEST, examples=["guest"])
    token: SecretText | None = None
    token_file: str = Field(default="", examples=["display-token"])
