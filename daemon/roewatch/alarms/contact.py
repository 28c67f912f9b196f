"""A contact: a person, the ways to reach them, in which order, at which hours."""

from dataclasses import dataclass

from roewatch.room.kind import Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """One person. The first contact is told first; the next one when nobody acknowledges.

    ways: names of the ways to reach them, all used for high; the first for the rest.
    quiet_from_min, quiet_to_min: local minutes of the day between which medium and low wait
    (never high); both None for no quiet hours. lowest: the least priority they are told of.
    """

    name: str
    ways: tuple[str, ...]
    quiet_from_min: int | None = None
    quiet_to_min: int | None = None
    lowest: Priority = Priority.LOW

    def __post_init__(self) -> None:
        if not self.ways:
            raise ValueError(f"contact {self.name}: no way to reach them; add one")
        if (self.quiet_from_min is None) != (self.quiet_to_min is None):
            raise ValueError(f"contact {self.name}: quiet hours need a beginning and an end")
