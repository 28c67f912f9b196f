"""Loading: from `room.toml`, the species sheets and the environment to one faultless setup.

Every part is looked at before anything is said, so that one run of `roewatch check` names
everything a keeper must mend.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from roewatch.intake.link import BrokerSettings
from roewatch.room.fault import SettingsError
from roewatch.room.tank import Room
from roewatch.service.derived import derived_probes
from roewatch.service.settings.advice import advice_on
from roewatch.service.settings.contacts import check_contacts, contact_of, ways_of
from roewatch.service.settings.document import Document, SettingsFault, did_you_mean, read_document
from roewatch.service.settings.entries import (
    ContactEntry,
    PersonEntry,
    ProbeEntry,
    ProgramEntry,
    TankEntry,
    WaterEntry,
)
from roewatch.service.settings.environment import environment_model, overlaid, with_secrets
from roewatch.service.settings.judging import JudgingSettings, TellingSection, limits_of, telling_of
from roewatch.service.settings.misfit import fitted
from roewatch.service.settings.people import access_of, check_people
from roewatch.service.settings.probes import binding_of, check_probes, probe_of
from roewatch.service.settings.sections import (
    BrokerSection,
    HeartbeatSettings,
    MirrorSettings,
    RoomSettings,
    StorageSettings,
    WebSettings,
)
from roewatch.service.settings.setup import Setup, Storage
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.species import Sheets, read_sheets
from roewatch.service.settings.tanks import check_tanks, tank_of
from roewatch.service.settings.waters import check_waters, facts_of, water_of
from roewatch.service.settings.written import veiled

__all__ = ["Setup", "faults_of", "load_setup"]

SECTIONS: Mapping[str, type[BaseModel]] = {
    "room": RoomSettings,
    "broker": BrokerSection,
    "storage": StorageSettings,
    "mirror": MirrorSettings,
    "web": WebSettings,
    "heartbeat": HeartbeatSettings,
    "judging": JudgingSettings,
    "telling": TellingSection,
}
ENTRIES: Mapping[str, type[BaseModel]] = {
    "tank": TankEntry,
    "probe": ProbeEntry,
    "water": WaterEntry,
    "contact": ContactEntry,
    "person": PersonEntry,
    "program": ProgramEntry,
}
_Environment = environment_model("RoomEnvironment", SECTIONS)

Part = TypeVar("Part", bound=BaseModel)


@dataclass(slots=True, kw_only=True)
class _Draft:
    """What could be understood; parts with faults of their own are missing from it."""

    document: Document
    folder: Path
    sections: dict[str, BaseModel] = field(default_factory=dict)
    entries: dict[str, list[tuple[int, Any]]] = field(default_factory=dict)
    sheets: Sheets = field(default_factory=Sheets)

    def section(self, kind: type[Part]) -> Part:
        """The section of that model. Only for drafts without faults."""
        return next(part for part in self.sections.values() if isinstance(part, kind))

    @property
    def faults(self) -> list[SettingsFault]:
        return sorted(
            [*self.document.faults, *self.sheets.faults], key=lambda f: (f.file, f.line, f.key)
        )


def faults_of(room_file: Path, env: Mapping[str, str]) -> list[SettingsFault]:
    """Every fault in the settings and the sheets; none means that the daemon can start."""
    return _draft(room_file, env).faults


def load_setup(room_file: Path, env: Mapping[str, str]) -> Setup:
    """The setup `room_file` describes, with `env` laid over it.

    Raises SettingsError with every fault at once.
    """
    draft = _draft(room_file, env)
    if draft.faults:
        raise SettingsError(draft.faults)
    return _setup_of(draft, room_file)


def _draft(room_file: Path, env: Mapping[str, str]) -> _Draft:
    document = read_document(room_file)
    draft = _Draft(document=document, folder=room_file.parent)
    readable = not document.faults
    if readable:
        overlaid(document, _Environment, env)
        _fit_all(draft)
    room = draft.sections.get("room")
    own = room.species_dir if isinstance(room, RoomSettings) else "species"
    _read_sheets(draft, own)
    if readable:
        _cross_check(draft)
    return draft


def _fit_all(draft: _Draft) -> None:
    document = draft.document
    for key in document.table:
        if key not in SECTIONS and key not in ENTRIES:
            known = [*SECTIONS, *ENTRIES]
            document.fault((key,), f"unknown section {key!r}", did_you_mean(key, known))
    if "room" not in document.table:
        document.fault(("room",), "no [room] section", "Add [room] with name and timezone")
    for key, model in SECTIONS.items():
        if key == "room" and key not in document.table:
            continue
        part = fitted(model, document.table.get(key, {}), document, (key,))
        if part is not None:
            draft.sections[key] = with_secrets(part, document, (key,), draft.folder)
    for key, model in ENTRIES.items():
        draft.entries[key] = _fit_entries(draft, key, model)


def _fit_entries(draft: _Draft, key: str, model: type[BaseModel]) -> list[tuple[int, Any]]:
    document = draft.document
    written = document.table.get(key, [])
    if not isinstance(written, list):
        document.fault((key,), f"[{key}] stands once, and may stand many times", f"Write [[{key}]]")
        return []
    found: list[tuple[int, Any]] = []
    for index, value in enumerate(written):
        entry = fitted(model, value, document, (key, index))
        if isinstance(entry, ContactEntry):
            ways = [
                with_secrets(way, document, (key, index, "ways", number), draft.folder)
                for number, way in enumerate(entry.ways)
            ]
            entry = entry.model_copy(update={"ways": ways})
        elif isinstance(entry, PersonEntry | ProgramEntry):
            entry = with_secrets(entry, document, (key, index), draft.folder)
        if entry is not None:
            found.append((index, entry))
    return found


def _read_sheets(draft: _Draft, own: str) -> None:
    try:
        folder = draft.folder / own
        draft.sheets = read_sheets(shipped_config() / "species", folder)
        there = folder.is_dir()
    except (OSError, ValueError) as error:
        draft.document.fault(
            ("room", "species_dir"), f"cannot be read: {error}", "Give a folder this user may read"
        )
        return
    if not there and own != RoomSettings.model_fields["species_dir"].default:
        draft.document.fault(
            ("room", "species_dir"),
            f"there is no folder {str(folder)!r}",
            "Make it, or leave species_dir out to use the shipped sheets",
        )


def _cross_check(draft: _Draft) -> None:
    document = draft.document
    written = document.table.get("tank", [])
    listed = written if isinstance(written, list) else []
    tank_ids = [t["id"] for t in listed if isinstance(t, dict) and isinstance(t.get("id"), str)]
    check_tanks(document, draft.entries["tank"], draft.sheets)
    check_probes(document, draft.entries["probe"], tank_ids)
    check_waters(document, draft.entries["water"])
    check_contacts(document, draft.entries["contact"])
    check_people(document, draft.entries["person"], draft.entries["program"])
    broker = draft.sections.get("broker")
    if isinstance(broker, BrokerSection):
        _check_broker(draft, broker)


def _check_broker(draft: _Draft, broker: BrokerSection) -> None:
    document = draft.document
    if (broker.password is not None or broker.password_file) and not broker.username:
        document.fault(("broker", "username"), "a password without a username", "Add username =")
    for key in ("ca_file", "cert_file", "key_file"):
        file = getattr(broker, key)
        if file and not broker.tls:
            document.fault(("broker", key), "a certificate without TLS", "Write tls = true")
        if file and not _is_file(draft.folder / file):
            document.fault(
                ("broker", key),
                f"there is no file {str(draft.folder / file)!r}",
                "Give the path of the file in PEM form",
            )
    if bool(broker.cert_file) != bool(broker.key_file):
        document.fault(
            ("broker", "cert_file"),
            "a client certificate and its key belong together",
            "Give both cert_file and key_file",
        )
    try:
        broker.host.encode("idna")
    except UnicodeError:
        document.fault(
            ("broker", "host"),
            f"{veiled(broker.host)!r} is no host name",
            "Write a name or an address, like 127.0.0.1, without mqtt:// and port",
        )


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # too long a name, or one with a NUL
        return False


def _setup_of(draft: _Draft, room_file: Path) -> Setup:
    named = draft.section(RoomSettings)
    tanks: list[TankEntry] = [entry for _, entry in draft.entries["tank"]]
    probes: list[ProbeEntry] = [entry for _, entry in draft.entries["probe"]]
    contacts: list[ContactEntry] = [entry for _, entry in draft.entries["contact"]]
    facts = {entry.id: facts_of(entry, named) for entry in tanks}
    measured = tuple(probe_of(entry) for entry in probes)
    species = draft.sheets.by_id
    room = Room(
        id=named.id,
        name=named.name,
        zone=named.timezone,
        tanks=tuple(tank_of(e, species.get(e.species), e.stage) for e in tanks),
        probes=(*measured, *derived_probes(measured, facts)),
    )
    kept = draft.section(StorageSettings)
    return Setup(
        room=room,
        bindings=tuple(binding_of(entry) for entry in probes),
        broker=_broker_of(draft, named.id),
        storage=Storage(
            path=draft.folder / kept.path,
            hot_ms=kept.hot,
            keep_ms=kept.keep_ms,
            keep_of_ms=kept.keep_of_ms,
            least_free_mb=kept.least_free_mb,
        ),
        mirror=draft.section(MirrorSettings),
        web=draft.section(WebSettings),
        heartbeat=draft.section(HeartbeatSettings),
        limits=limits_of(draft.section(JudgingSettings)),
        telling=telling_of(draft.section(TellingSection), draft.section(WebSettings).base),
        contacts=tuple(contact_of(entry) for entry in contacts),
        ways=tuple(way for entry in contacts for way in ways_of(entry)),
        species=species,
        entries={entry.id: entry for entry in tanks},
        facts=facts,
        waters={entry.name: water_of(entry) for _, entry in draft.entries["water"]},
        sources=draft.sheets.counts,
        advice=(
            *draft.document.advice,
            *advice_on(draft.document, draft.entries, draft.sections),
        ),
        files=(room_file, *draft.sheets.files),
        access=access_of(
            [entry for _, entry in draft.entries["person"]],
            [entry for _, entry in draft.entries["program"]],
        ),
    )


def _broker_of(draft: _Draft, room_id: str) -> BrokerSettings:
    broker = draft.section(BrokerSection)
    password = broker.password

    def beside(file: str) -> str:
        return str(draft.folder / file) if file else ""

    return BrokerSettings(
        host=broker.host,
        port=broker.port,
        client_id=broker.client_id or f"roewatch-{room_id}",
        username=broker.username,
        password=password.get_secret_value() if password is not None else "",
        tls=broker.tls,
        ca_file=beside(broker.ca_file),
        cert_file=beside(broker.cert_file),
        key_file=beside(broker.key_file),
        keepalive_s=broker.keepalive // 1000,
    )
