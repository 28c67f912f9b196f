"""Sourced: anything with a number in it says how well founded it is and where it comes from."""

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, field_validator

from roewatch.room.window import Basis
from roewatch.service.settings.document import did_you_mean
from roewatch.service.settings.written import Section


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_BASES = [basis for basis in Basis if basis is not Basis.KEEPER]


class Sourced(Section):
    """Anything with a number in it: how well founded it is, and the keys of its sources."""

    basis: str = Field(examples=["published"])
    source: Annotated[list[str], BeforeValidator(_listed)] = Field(min_length=1, examples=["FB"])

    @field_validator("basis")
    @classmethod
    def _basis(cls, value: str) -> str:
        if value not in list(Basis):
            raise ValueError(f"{value[:40]!r} is not a basis; {did_you_mean(value, _BASES)}")
        return value
