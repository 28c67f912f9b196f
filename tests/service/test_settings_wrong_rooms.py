"""Ten wrong rooms: every fault of each is named at once, with its line, its key and a cure."""

import re
from pathlib import Path

import pytest

from roewatch.room.fault import SettingsError
from roewatch.service.settings.document import SettingsFault
from roewatch.service.settings.load import faults_of, load_setup

WRONG = Path(__file__).parent / "wrong_rooms"
ROOMS = sorted(WRONG.glob("*.toml"))


def marked(file: Path) -> list[tuple[str, int, str]]:
    """(file name, line, key) of each fault, as the file itself marks them."""
    found = []
    for number, text in enumerate(file.read_text().splitlines(), 1):
        if "#! on " in text:
            line, keys = re.findall(r"#! on (\d+): (.*)", text)[0]
            found += [(file.name, int(line), key) for key in keys.split()]
        elif "#!" in text:
            keys = text.partition("#!")[2].split() or [""]
            found += [(file.name, number, key) for key in keys]
    return found


def told(faults: list[SettingsFault]) -> list[tuple[str, int, str]]:
    return [(Path(fault.file).name, fault.line, fault.key) for fault in faults]


@pytest.mark.parametrize("room", ROOMS, ids=lambda path: path.stem)
def test_every_fault_is_named_at_once_with_its_line_and_key(room: Path) -> None:
    wanted = marked(room)
    if room.stem == "sheets":
        for sheet in (WRONG / "sheets" / "species").glob("*.toml"):
            wanted += marked(sheet)
    assert sorted(told(faults_of(room, {}))) == sorted(wanted)


@pytest.mark.parametrize("room", ROOMS, ids=lambda path: path.stem)
def test_every_fault_has_a_cure_and_reads_as_one_sentence(room: Path) -> None:
    faults = faults_of(room, {})
    assert faults
    for fault in faults:
        assert fault.what
        assert fault.fix
        assert "pydantic" not in str(fault)
        assert fault.fix[0].isupper(), fault
        assert str(fault).endswith(".")


def test_there_are_ten_of_them() -> None:
    assert len(ROOMS) == 10


def test_loading_raises_all_faults_together() -> None:
    with pytest.raises(SettingsError) as raised:
        load_setup(WRONG / "spans.toml", {})
    assert len(raised.value.faults) == len(marked(WRONG / "spans.toml"))


CURES = [  # room, key, words of the fault, words of the cure
    ("unknown_keys", "room.timezon", "unknown key 'timezon'", "Write 'timezone'"),
    ("unknown_keys", "brokr", "unknown section 'brokr'", "Write 'broker'"),
    ("unknown_keys", "tank.A1.windows.pH", "unknown key 'pH'", "Write 'ph'"),
    ("spans", "heartbeat.every", "no time at all", "Write a span longer than zero"),
    ("spans", "judging.on_delay", "needs its unit", "Write it like 90 s"),
    ("strangers", "tank.A3.species", "no species sheet", "Write 'boraras-brigittae'"),
    ("strangers", "room.timezone", "not a time zone", "Write it as Area/City"),
    ("strangers", "probe.#1.unit", "does not measure temperature", "Use one of: c, f, k"),
    ("windows", "tank.A3.windows.ph.low", "low 7 is not below high 5.5", "Swap"),
    ("windows", "tank.A4.covered", "'yes' must be true or false", "Write covered = true"),
    ("twice", "probe.#2.id", "the first is on line 21", 'id = "a1-ph-2"'),
    ("topics", "probe.part.topic", "cannot be told apart", "pointer ="),
    ("secrets", "broker.password_file", "cannot be read", "chmod 600"),
    ("broken", "", "not TOML", "litres = 20.5"),
    ("sheets", "windows.holding.temperature.source", "no source", 'Add source = "FB"'),
]


@pytest.mark.parametrize(("room", "key", "what", "cure"), CURES)
def test_a_cure_can_be_followed(room: str, key: str, what: str, cure: str) -> None:
    said = [fault for fault in faults_of(WRONG / f"{room}.toml", {}) if fault.key == key]
    assert said
    assert any(what in fault.what and cure in fault.fix for fault in said), said


def test_no_secret_is_ever_printed() -> None:
    told = "\n".join(map(str, faults_of(WRONG / "secrets.toml", {})))
    for secret in ("12345", "ping-me", "keeper@", "loft/7", "hush"):
        assert secret not in told
