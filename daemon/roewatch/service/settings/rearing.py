"""Rearing: what a written sheet says of spawning, of development and of first food."""

from collections.abc import Callable
from typing import Any

from pydantic import Field, ValidationInfo, field_validator

from roewatch.room.species import Care, Daytime, Food, FoodSpan, HatchFact, Spawning
from roewatch.room.staging import StagingFormula
from roewatch.room.window import Basis
from roewatch.service.settings.document import did_you_mean
from roewatch.service.settings.sourced import Sourced

Titles = Callable[[Sourced], str]


def _one_of(value: str, words: list[str], what: str) -> str:
    if value not in words:
        raise ValueError(f"{value[:40]!r} is no {what}; {did_you_mean(value, words)}")
    return value


class HatchEntry(Sourced):
    """`[[hatch]]`: hours from spawning to hatch, or from hatching to free-swimming."""

    what: str = Field(examples=["hatch"])
    celsius: float | None = Field(default=None, examples=[26.0])
    from_h: float = Field(ge=0, examples=[24])
    to_h: float = Field(gt=0, examples=[36])

    @field_validator("what")
    @classmethod
    def _what(cls, value: str) -> str:
        if value not in {"hatch", "free-swimming"}:
            raise ValueError(f"{value[:40]!r} is no event; write hatch or free-swimming")
        return value


class StagingEntry(Sourced):
    """`[staging]`: rate of development = per_celsius x T + at_zero, about 1 at the reference."""

    per_celsius: float = Field(gt=0, examples=[0.055])
    at_zero: float = Field(examples=[-0.57])
    reference: float = Field(examples=[28.5])
    low: float = Field(examples=[25.0])
    high: float = Field(examples=[33.0])


class RelativeEntry(Sourced):
    """`[relative]`: whose dependence on temperature is taken where its own was not measured."""

    like: str = Field(min_length=1, examples=["paracheirodon-innesi"])


class SpawningEntry(Sourced):
    """`[spawning]`: when it spawns, and who cares for the eggs."""

    when: list[str] = Field(min_length=1, examples=[["dawn"]])
    care: str = Field(examples=["none"])

    @field_validator("when")
    @classmethod
    def _when(cls, value: list[str]) -> list[str]:
        return [_one_of(word, list(Daytime), "time of day") for word in value]

    @field_validator("care")
    @classmethod
    def _care(cls, value: str) -> str:
        return _one_of(value, list(Care), "kind of care")


class FoodEntry(Sourced):
    """`[[food]]`: a live food, by days after the first day of free-swimming."""

    what: str = Field(examples=["protozoa"])
    from_d: float = Field(ge=0, examples=[0])
    to_d: float = Field(gt=0, examples=[14])

    @field_validator("what")
    @classmethod
    def _what(cls, value: str) -> str:
        return _one_of(value, list(Food), "live food")

    @field_validator("to_d")
    @classmethod
    def _to_d(cls, value: float, info: ValidationInfo) -> float:
        start: Any = info.data.get("from_d")
        if start is not None and value <= start:
            raise ValueError(f"to_d {value:g} is not after from_d {start:g}; swap or mend them")
        return value


def hatch_fact(entry: HatchEntry, titles: Titles) -> HatchFact:
    """The fact an entry states; `titles` turns source keys into their titles."""
    return HatchFact(
        what=entry.what,
        celsius=entry.celsius,
        from_h=entry.from_h,
        to_h=entry.to_h,
        basis=Basis(entry.basis),
        source=titles(entry),
    )


def staging_formula(entry: StagingEntry) -> StagingFormula:
    """The formula an entry states."""
    return StagingFormula(
        per_celsius=entry.per_celsius,
        at_zero=entry.at_zero,
        reference=entry.reference,
        low=entry.low,
        high=entry.high,
    )


def spawning_of(entry: SpawningEntry, titles: Titles) -> Spawning:
    """How the species spawns, as an entry states it."""
    return Spawning(
        when=tuple(Daytime(word) for word in entry.when),
        care=Care(entry.care),
        basis=Basis(entry.basis),
        source=titles(entry),
    )


def food_span(entry: FoodEntry, titles: Titles) -> FoodSpan:
    """The span an entry states."""
    return FoodSpan(
        what=Food(entry.what),
        from_d=entry.from_d,
        to_d=entry.to_d,
        basis=Basis(entry.basis),
        source=titles(entry),
    )
