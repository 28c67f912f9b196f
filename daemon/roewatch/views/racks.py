"""Racks: the room as it stands, so that a tank is found by where it is."""

from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.views.standing import Mark, Standing

_MOST_GAPS = 12
"""Empty places drawn between two tanks; past that the numbers are names, not places."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """One shelf from left to right; None is an empty place."""

    number: int
    places: tuple[Standing | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rack:
    """One rack from top to bottom. anchor: its name within a page."""

    name: str
    anchor: str
    shelves: tuple[Shelf, ...]

    @property
    def standings(self) -> list[Standing]:
        """Every tank of the rack."""
        return [s for shelf in self.shelves for s in shelf.places if s is not None]

    @property
    def mark(self) -> Mark:
        """The worst state on the rack."""
        return min((s.mark for s in self.standings), key=lambda m: m.rank, default=Mark.BLANK)

    @property
    def trouble(self) -> int:
        """How many tanks are outside or silent."""
        return sum(s.mark in {Mark.OUTSIDE, Mark.SILENT} for s in self.standings)


def _places(standings: Sequence[Standing]) -> tuple[Standing | None, ...]:
    """A shelf's tanks at their places, with the empty ones between."""
    row: list[Standing | None] = []
    for standing in sorted(standings, key=lambda s: (s.tank.place.place, s.tank.id)):
        gap = standing.tank.place.place - 1 - len(row)
        if 0 < gap <= _MOST_GAPS:
            row += [None] * gap
        row.append(standing)
    return tuple(row)


def racks_of(standings: Sequence[Standing]) -> tuple[Rack, ...]:
    """The racks in the order of their names, shelves from the top (1) down."""
    by_rack: dict[str, dict[int, list[Standing]]] = {}
    for standing in standings:
        place = standing.tank.place
        by_rack.setdefault(place.rack, {}).setdefault(place.shelf, []).append(standing)
    return tuple(
        Rack(
            name=name,
            anchor=f"rack-{order}",
            shelves=tuple(
                Shelf(number=number, places=_places(shelves[number])) for number in sorted(shelves)
            ),
        )
        for order, (name, shelves) in enumerate(
            sorted(by_rack.items(), key=lambda item: (len(item[0]), item[0])), start=1
        )
    )
