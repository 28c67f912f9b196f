"""A document: one TOML file a person wrote, with the line of every key, and its faults."""

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from roewatch.room.fault import Fault
from roewatch.service.settings.lines import KeyPath, lines_of, rows_of

_ROOM_FOR_A_FILE = 8_000_000
"""Bytes. 2,500 tanks with four probes each fit five times over; more is not a settings file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsFault(Fault):
    """A fault with its place in parts, for programs. line: 0 when it has none."""

    file: str
    line: int
    key: str


@dataclass(kw_only=True)
class Document:
    """One file as it was read. Nothing is raised until all of it was looked at.

    faults, advice: what was noted so far. table: what it says. environment: path to the name of
    the variable that replaced the file's value there.
    """

    file: str
    text: str = ""
    table: dict[str, Any] = field(default_factory=dict)
    environment: Mapping[KeyPath, str] = field(default_factory=dict)
    faults: list[SettingsFault] = field(default_factory=list)
    advice: list[SettingsFault] = field(default_factory=list)
    _noted: set[SettingsFault] = field(default_factory=set)

    @cached_property
    def lines(self) -> Mapping[KeyPath, int]:
        """Where each key stands. Looked for only once something must be pointed at."""
        return lines_of(self.text) if self.table else {}

    def line_of(self, path: KeyPath) -> int:
        """The line of `path`, or of the nearest thing around it; 0 when there is none."""
        for depth in range(len(path), 0, -1):
            found = self.lines.get(path[:depth])
            if found is not None:
                return found
        return 0

    def dotted(self, path: KeyPath) -> str:
        """`path` for people: an entry of a list goes by its id or name, else by its number."""
        parts: list[str] = []
        value: Any = self.table
        for key in path:
            value = _within(value, key)
            if isinstance(key, int):
                parts.append(_entry_name(value, key))
            else:
                parts.append(key)
        return ".".join(parts)

    def fault(self, path: KeyPath, what: str, fix: str) -> None:
        """Note a fault at `path`. Twice the same is noted once."""
        found = self.placed(path, what, fix)
        if found not in self._noted:
            self._noted.add(found)
            self.faults.append(found)

    def placed(self, path: KeyPath, what: str, fix: str) -> SettingsFault:
        """A fault at `path`, not noted."""
        key = self.dotted(path)
        variable = next(
            (name for there, name in self.environment.items() if path[: len(there)] == there), None
        )
        if variable is not None:
            where, file, line = f"environment: {variable}", "environment", 0
        else:
            line, file = self.line_of(path), self.file
            where = ":".join(filter(None, (self.file, str(line or ""))))
            where = f"{where}: {key}" if key else where
        return SettingsFault(
            where=where, what=what, fix=fix.rstrip("."), file=file, line=line, key=key
        )


def _within(value: Any, key: str | int) -> Any:
    if isinstance(value, dict):
        return value.get(key)
    if isinstance(value, list) and isinstance(key, int) and key < len(value):
        return value[key]
    return None


def _entry_name(entry: Any, index: int) -> str:
    for key in ("id", "name"):
        name = entry.get(key) if isinstance(entry, dict) else None
        if isinstance(name, str) and name:
            return name
    return f"#{index + 1}"


def read_document(path: Path) -> Document:
    """The TOML file at `path`. What keeps it from being read is a fault of it, not an exception."""
    document = Document(file=str(path))
    try:
        with path.open("rb") as stream:
            raw = stream.read(_ROOM_FOR_A_FILE + 1)
        if len(raw) > _ROOM_FOR_A_FILE:
            document.fault((), "the file is larger than 8 MB", "Point at the settings file itself")
            return document
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        _fault_at(document, line, "not written in UTF-8", "Save the file as UTF-8")
        return document
    except FileNotFoundError:
        document.fault(
            (), "there is no such file", f"Write it, or give the right path{_near(path)}"
        )
        return document
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        document.fault(
            (), f"cannot be read: {reason}", "Give the path of a file this user may read"
        )
        return document
    return document_of(text, str(path))


def document_of(text: str, file: str) -> Document:
    """The document `text` makes; `file` is what faults call it."""
    document = Document(file=file, text=text)
    try:
        document.table = tomllib.loads(text)
    except RecursionError:
        document.fault(
            (), "nested too deeply to be settings", "Close the brackets that were opened"
        )
    except ValueError as error:
        what, line = _syntax(str(error), text)
        _fault_at(document, line, f"not TOML: {what}", _syntax_cure(text, line))
    return document


def _fault_at(document: Document, line: int, what: str, fix: str) -> None:
    document.faults.append(
        SettingsFault(
            where=f"{document.file}:{line}",
            what=what,
            fix=fix,
            file=document.file,
            line=line,
            key="",
        )
    )


def _syntax(message: str, text: str) -> tuple[str, int]:
    """What the reader complained of, and the line; the end of the file counts as its last line."""
    what, _, place = message.partition(" (at ")
    if place.startswith("line "):
        return what, int(place.removeprefix("line ").partition(",")[0])
    return what, max(1, len(rows_of(text.rstrip())))


def _syntax_cure(text: str, line: int) -> str:
    rows = rows_of(text)
    written = rows[line - 1].strip() if line <= len(rows) else ""
    head, equals, value = written.partition("=")
    value = value.partition("#")[0].strip()
    if equals and value.count(",") == 1 and value.replace(",", "").replace("-", "").isdigit():
        return f"Write a decimal point: {head.strip()} = {value.replace(',', '.')}"
    if equals and value[:1].isalpha() and value not in {"true", "false", "inf", "nan"}:
        return f'Put words in quotes: {head.strip()} = "{value}"'
    if equals and value[:1].isdigit() and value[-1:].isalpha():
        return f'Put a number with a unit in quotes: {head.strip()} = "{value}"'
    if written.startswith("[") and not written.endswith("]"):
        return "Close the bracket of the heading"
    return "Mend that line: key = value, words in quotes, lists in [ ]"


def _near(path: Path) -> str:
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.suffix == ".toml")
    except OSError:
        return ""
    near = difflib.get_close_matches(path.name, names, n=3)
    return f"; beside it: {', '.join(near)}" if near else ""


def did_you_mean(wrong: str, known: Iterable[str]) -> str:
    """A cure for a word that is not known: the nearest one that is, else all of them."""
    choices = sorted({str(word) for word in known})
    near = difflib.get_close_matches(wrong.lower(), choices, n=1, cutoff=0.7)
    near = near or [word for word in choices if len(wrong) > 3 and wrong.lower() in word][:1]
    if near:
        return f"Write {near[0]!r}, if that was meant"
    if not choices:
        return "Take it out"
    shown = ", ".join(choices[:12]) + (", …" if len(choices) > 12 else "")
    return f"Use one of: {shown}"
