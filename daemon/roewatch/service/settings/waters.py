"""Waters: the source waters as written, and what is known of a tank's water beside its probes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from roewatch.service.settings.document import Document
from roewatch.service.settings.entries import TankEntry, WaterEntry
from roewatch.service.settings.sections import RoomSettings
from roewatch.water.derived import WaterFacts
from roewatch.water.hardness import meq_of_dkh
from roewatch.water.oxygen import station_pressure
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingWater:
    """A source water the keeper has. litres: how much, None when not said; measured: when."""

    source: SourceWater
    litres: float | None = None
    measured: date | None = None


def check_waters(document: Document, waters: Sequence[tuple[int, WaterEntry]]) -> None:
    """Note waters of one name, and numbers that contradict one another."""
    names: set[str] = set()
    for index, entry in waters:
        if entry.name.casefold() in names:
            document.fault(
                ("water", index, "name"), f"a second water {entry.name!r}", "Give it another name"
            )
        names.add(entry.name.casefold())
        if "=" in entry.name or "," in entry.name or entry.name == "mains":
            document.fault(
                ("water", index, "name"),
                f"{entry.name!r} cannot be told from a number on the command line",
                "Leave = and , out of the name",
            )
        try:
            _ = water_of(entry).source.makeup
        except RefusedError as refused:
            document.fault(("water", index), str(refused), "Measure again, or leave ph out")


def water_of(entry: WaterEntry) -> StandingWater:
    """The source water as the water bench takes it. Raises RefusedError."""
    return StandingWater(
        source=SourceWater(
            name=entry.name,
            celsius=entry.celsius,
            alkalinity=meq_of_dkh(entry.kh),
            ph=entry.ph,
            dgh=entry.gh,
            conductivity=entry.conductivity,
            mains=entry.mains,
        ),
        litres=entry.litres,
        measured=entry.measured,
    )


def facts_of(entry: TankEntry, room: RoomSettings) -> WaterFacts:
    """What no probe tells of one tank's water."""
    return WaterFacts(
        dkh=entry.dkh,
        tannin=entry.tannin,
        phosphate=entry.phosphate,
        station_hpa=station_pressure(sea_level_hpa=room.pressure_hpa, altitude_m=room.altitude_m),
    )
