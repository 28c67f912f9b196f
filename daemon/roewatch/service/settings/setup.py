"""The setup: everything the daemon is built from, checked and resolved."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from roewatch.alarms.contact import Contact
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.intake.binding import Binding
from roewatch.intake.link import BrokerSettings
from roewatch.judging.limits import Limits
from roewatch.room.quantity import Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.room.tank import Probe, Room, Tank
from roewatch.room.window import Basis, Window
from roewatch.service.settings.document import SettingsFault
from roewatch.service.settings.entries import TankEntry
from roewatch.service.settings.sections import (
    HeartbeatSettings,
    MirrorSettings,
    WebSettings,
)
from roewatch.service.settings.tanks import tank_of
from roewatch.service.settings.waters import StandingWater
from roewatch.service.settings.written import SecretText
from roewatch.views.visitor import NOBODY, Access
from roewatch.water.derived import WaterFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class Storage:
    """Where readings are kept. keep_ms: None for ever. keep_of_ms: what differs from it."""

    path: Path
    hot_ms: int
    keep_ms: int | None
    least_free_mb: int
    keep_of_ms: Mapping[Quantity, int | None] = field(default_factory=dict)

    def let_go_ms(self, probes: Iterable[Probe], now_ms: int) -> dict[str, int]:
        """By probe, the moment before which its readings may go; without those kept for ever."""
        moments: dict[str, int] = {}
        for probe in probes:
            keep_ms = self.keep_of_ms.get(probe.quantity, self.keep_ms)
            if keep_ms is not None:
                moments[probe.id] = now_ms - keep_ms
        return moments


@dataclass(frozen=True, slots=True, kw_only=True)
class WaySettings:
    """One way to one contact. name: `Keeper/phone`, unique in the room, as notices carry it."""

    contact: str
    name: str
    url: SecretText
    timeout_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One room's settings, whole and faultless.

    advice: what is not wrong but unwise. entries: the tanks as written, so that a change of
    stage can be resolved again. facts: by tank, what derived series need beside their probes.
    waters: the source waters, by name. sources: how many numbers of each sheet stand on which
    basis. files: every file that was read. access: who may come in at the pages.
    """

    room: Room
    bindings: tuple[Binding, ...]
    broker: BrokerSettings
    storage: Storage
    mirror: MirrorSettings
    web: WebSettings
    heartbeat: HeartbeatSettings
    limits: Limits
    telling: TellingSettings
    contacts: tuple[Contact, ...]
    ways: tuple[WaySettings, ...]
    species: Mapping[str, SpeciesSheet]
    entries: Mapping[str, TankEntry]
    facts: Mapping[str, WaterFacts]
    waters: Mapping[str, StandingWater]
    sources: Mapping[str, Counter[Basis]]
    advice: tuple[SettingsFault, ...]
    files: tuple[Path, ...]
    access: Access = NOBODY

    def tank_in(self, tank_id: str, stage: Stage) -> Tank:
        """The tank as it would be in `stage`: the sheet's windows for it, the keeper's over them.

        Raises KeyError for a tank there is not.
        """
        entry = self.entries[tank_id]
        return tank_of(entry, self.species.get(entry.species), stage)

    def room_in(self, stages: Mapping[str, Stage]) -> Room:
        """The room with tanks in other stages than the settings name, by tank id.

        Tanks not in `stages` stay as they are. Raises KeyError for a tank there is not.
        """
        for tank_id in stages:
            self.room.tank(tank_id)
        tanks = (
            self.tank_in(tank.id, stages[tank.id]) if tank.id in stages else tank
            for tank in self.room.tanks
        )
        return replace(self.room, tanks=tuple(tanks))

    def stage_named(self, tank_id: str) -> Stage | None:
        """The stage the settings name for a tank; None for one there is not."""
        entry = self.entries.get(tank_id)
        return entry.stage if entry else None

    def windows_of(self, tank: Tank, stage: Stage) -> Mapping[Quantity, Window]:
        """What `tank` would be judged by in `stage`."""
        return self.tank_in(tank.id, stage).windows
