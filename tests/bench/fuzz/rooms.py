"""Room files no keeper would write: real ones cut, doubled, spliced and filled with odd values."""

import contextlib
import functools
import random
import re
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from roewatch.service.settings import load
from roewatch.service.settings.document import SettingsFault, read_document
from roewatch.service.settings.species import read_sheets, sheet_of

ROOT = Path(__file__).resolve().parents[3]
_VALUE = re.compile(r"^(\s*#?\s*[\w.\"-]+\s*=\s*)(.+)$")
_ODD = [
    "0", "-1", "1e308", "-0.0", "nan", "inf", "-inf", "9" * 30, "9" * 400, "0x7fffffffffffffff",
    "2**63", "true", "[]", "{}", "[[]]", "[{}]", '""', '"nan"', '"\\u0000"', "'''x'''",
    '"0 s"', '"-5 min"', '"1e400 d"', '"9999999999999999 d"', '"7 d 3"', '"for ever"', '"never"',
    '"٣ s"', '"mqtt://u:p@h:1"', '"a/+/b/#"', '"#"', '"../../etc"', '"~"', '"/dev/zero"', '"{x}"',
    "2026-02-30", "2026-03-01", "07:32:00", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z",
    '{ low = 7, high = 3 }', '{ low = nan }', '{ ph = { low = 5 } }', '[{ span = "0 s" }]',
    '[{ span = "1 h", rise = -1 }]', '[{ at = "x", slope = 0.0 }]', "[1, \"a\", []]",
    '"' + "x" * 5000 + '"', "[" * 60 + "]" * 60, "[" * 2000 + "]" * 2000, '"25:61"',
]  # fmt: skip
_SECTIONS = [
    "room", "broker", "storage", "mirror", "web", "heartbeat", "judging", "telling", "contact",
    "contact.ways", "person", "program", "water", "tank", "probe", "tank.windows", "x", "",
]  # fmt: skip
_ENVIRONMENT = [
    "ROEWATCH_BROKER__PORT", "ROEWATCH_ROOM__NAME", "ROEWATCH_ROOM__ID", "ROEWATCH_WEB__PORT",
    "ROEWATCH_JUDGING__ON_DELAY", "ROEWATCH_STORAGE__KEEP_OF", "ROEWATCH_TANK__A1", "ROEWATCH_X",
    "ROEWATCH_BROKER__PASSWORD_FILE", "ROEWATCH_TELLING__REMIND_HIGH", "ROEWATCH_",
]  # fmt: skip


def sample(tanks: int) -> str:
    """The shipped sample with its first tanks only: every setting, and quick to read."""
    text = (ROOT / "config/room.toml").read_text(encoding="utf-8")
    head, *rest = text.split("[[tank]]")
    last, *probes = "[[tank]]".join(rest).split("[[probe]]")
    names = re.findall(r'^id = "(\w+)"', last, re.MULTILINE)[:tanks]
    kept = [f"[[tank]]{one}" for one in rest[:tanks]]
    kept[-1] = kept[-1].partition("## The probes")[0]
    mine = [f"[[probe]]{one}" for one in probes if f'tank = "{names[0]}"' in one]
    return "".join([head, *kept, *mine])


@functools.cache
def seeds() -> tuple[bytes, ...]:
    """The files that are mutated: the sample, and rooms that are wrong already."""
    wrong = sorted((ROOT / "tests/service/wrong_rooms").glob("*.toml"))
    small = sample(1)
    # the sample with every default written out: as many values to spoil as there are settings
    spelt = re.sub(r"^# (\w+ = )", r"\1", small, flags=re.MULTILINE)
    return (*(text.encode() for text in (small, spelt) * 20), *map(_bytes, wrong))


@functools.cache
def sheet_seeds() -> tuple[bytes, ...]:
    """The shipped species sheets."""
    return tuple(map(_bytes, sorted((ROOT / "config/species").glob("*.toml"))))


def _bytes(path: Path) -> bytes:
    return path.read_bytes()


def mutated(rng: random.Random, texts: Sequence[bytes]) -> bytes:
    """One of `texts` with one to six things done to it."""
    text = rng.choice(texts)
    for _ in range(rng.choice([1, 1, 1, 2, 2, 3, 6])):
        act = rng.choice([_value, _value, _value, _lines, _header, _noise])
        text = act(rng, text)
    if rng.random() < 0.05:
        other = rng.choice(texts)
        text = text[: rng.randrange(len(text) + 1)] + other[rng.randrange(len(other)) :]
    return text


def _value(rng: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    for _ in range(20):
        place = rng.randrange(len(lines))
        found = _VALUE.match(lines[place].decode("utf-8", errors="replace"))
        if found:
            odd = rng.choice(_ODD) if rng.random() < 0.8 else str(rng.uniform(-1e4, 1e4))
            lines[place] = (found[1].lstrip("# ") + odd).encode("utf-8", errors="replace")
            break
    return b"\n".join(lines)


def _lines(rng: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    first = rng.randrange(len(lines))
    last = min(len(lines), first + rng.choice([1, 1, 2, 5, 40]))
    cut = lines[first:last]
    if rng.random() < 0.5:
        del lines[first:last]
    place = rng.randrange(len(lines) + 1)
    lines[place:place] = cut
    return b"\n".join(lines)


def _header(rng: random.Random, text: bytes) -> bytes:
    shape = rng.choice(["[{}]", "[[{}]]", "[{}", "{}]", "{} = 1", "{} = [1]", "{}.id = {{}}"])
    lines = text.split(b"\n")
    lines.insert(rng.randrange(len(lines) + 1), shape.format(rng.choice(_SECTIONS)).encode())
    return b"\n".join(lines)


def _noise(rng: random.Random, text: bytes) -> bytes:
    changed = bytearray(text)
    for _ in range(rng.randrange(1, 4)):
        place = rng.randrange(len(changed) + 1)
        kind = rng.randrange(3)
        if kind == 0:
            changed[place:place] = rng.randbytes(rng.randrange(1, 4))
        elif kind == 1:
            del changed[place : place + rng.randrange(1, 30)]
        else:
            changed[place : place + 1] = bytes([rng.choice(b"[]{}=.\"'#,\n\0\xff\xc3 0-")])
    return bytes(changed)


def environment(rng: random.Random) -> dict[str, str]:
    """Mostly nothing; now and then variables that override, well or badly."""
    if rng.random() < 0.9:
        return {}
    return {rng.choice(_ENVIRONMENT): rng.choice(_ODD).strip('"') for _ in range(3)}


class Reader:
    """Reads room files in one folder."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "room.toml"
        self._sheet = folder / "sheet.toml"

    def room(self, text: bytes, env: dict[str, str]) -> list[SettingsFault]:
        """Its faults. A file without any must load; whatever it does instead is raised."""
        self._file.write_bytes(text)
        faults = load.faults_of(self._file, env)
        if not faults:
            load.load_setup(self._file, env)
        return faults

    def sheet(self, text: bytes) -> list[SettingsFault]:
        """The faults of a species sheet."""
        self._sheet.write_bytes(text)
        document = read_document(self._sheet)
        sheet_of(document, "boraras-brigittae")
        return document.faults


_read_once = functools.lru_cache(64)(read_sheets)


@contextlib.contextmanager
def settled_reader() -> Iterator[Reader]:
    """A reader in a folder of its own. The shipped sheets are read once: they do not change."""
    reads = vars(load)["read_sheets"]
    vars(load)["read_sheets"] = _read_once
    try:
        with tempfile.TemporaryDirectory() as folder:
            yield Reader(Path(folder))
    finally:
        vars(load)["read_sheets"] = reads


def one(rng: random.Random, reader: Reader) -> tuple[bytes, list[SettingsFault]]:
    """Make one file and read it: nine rooms to one sheet. What was written, and its faults.

    Raises AssertionError when a fault does not say what, where and how to mend it in one line;
    anything else that is raised is a crash.
    """
    is_sheet = rng.random() < 0.1
    text = mutated(rng, sheet_seeds() if is_sheet else seeds())
    try:
        faults = reader.sheet(text) if is_sheet else reader.room(text, environment(rng))
    except Exception as crash:
        crash.add_note(f"on {'sheet' if is_sheet else 'room'} {text!r}")
        raise
    for fault in faults:
        said = str(fault)
        assert fault.where, text
        assert fault.what, text
        assert fault.fix, text
        assert said.encode(), text
        assert len(said) < 20_000, text
    return text, faults
