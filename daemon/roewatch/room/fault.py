"""A fault: what is wrong in something a person wrote, where, and how to put it right."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault. where: file, line if known, and the dotted path in it."""

    where: str
    what: str
    fix: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.fix}."


class SettingsError(ValueError):
    """Something a person wrote has faults; all of them at once."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = tuple(faults)
