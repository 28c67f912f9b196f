"""Rewriting: a few keys or a new entry put into a settings file that a person wrote.

Only the lines concerned change; every comment and every other line stays as it was. What comes out
is read back and compared before it counts, and takes the old file's place at once or not at all.
"""

import contextlib
import copy
import os
import shutil
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from roewatch.service.settings.lines import lines_of

Scalar = str | int | float | bool


def put(file: Path, text: str) -> None:
    """`text` in the file's place, with its owner and mode. Raises OSError; then nothing changed."""
    part = file.with_name(file.name + ".part")
    try:
        part.write_text(text, encoding="utf-8")
        shutil.copystat(file, part)
        _keep_owner(file, part)
        with part.open("rb") as handle:
            os.fsync(handle.fileno())
        part.replace(file)
    except OSError:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def _keep_owner(file: Path, part: Path) -> None:
    was, now = file.stat(), part.stat()
    if (was.st_uid, was.st_gid) != (now.st_uid, now.st_gid):
        os.chown(part, was.st_uid, was.st_gid)


def with_keys(
    text: str, table: tuple[str] | tuple[str, int], values: Mapping[str, Scalar]
) -> str | None:
    """`text` with these keys of one table set; None where the file is written in a way of its own.

    table: `("broker",)` for a section, which is added if it is missing, or `("tank", 2)` for an
    entry, counted from 0.
    """
    meant = tomllib.loads(text)
    if len(table) == 1 and table[0] not in meant:
        return with_entry(text, f"[{table[0]}]", values)
    inner: Any = meant
    for key in table:
        inner = inner[key]
    inner.update(values)
    rows = text.splitlines(keepends=True)
    places = lines_of(text)
    new: list[str] = []
    for key, value in values.items():
        line = places.get((*table, key))
        if line is None:
            new.append(_row(key, value))
            continue
        row = _changed(rows[line - 1], key, value)
        if row is None:
            return None
        rows[line - 1] = row
    # new keys stand behind the id, where there is one: a name comes first
    head = places.get((*table, "id"), places[table])
    if new:
        if not rows[places[table] - 1].lstrip().startswith("["):
            return None
        if not rows[head - 1].endswith("\n"):
            rows[head - 1] += "\n"
        rows[head:head] = new
    return _checked("".join(rows), meant)


def with_entry(text: str, head: str, values: Mapping[str, Scalar]) -> str | None:
    """`text` with a new table at its end; None where the file is written in a way of its own.

    head: `[[tank]]` or `[broker]`.
    """
    meant = copy.deepcopy(tomllib.loads(text))
    name = head.strip("[]")
    if head.startswith("[["):
        entries = meant.setdefault(name, [])
        if not isinstance(entries, list):
            return None
        entries.append(dict(values))
    else:
        meant[name] = dict(values)
    rows = "".join(_row(key, value) for key, value in values.items())
    gap = "" if not text else "\n" if text.endswith("\n") else "\n\n"
    return _checked(f"{text}{gap}{head}\n{rows}", meant)


def _row(key: str, value: Scalar) -> str:
    import tomlkit  # noqa: PLC0415  # slow to load, and only a keeper who changes something needs it

    return f"{key} = {tomlkit.item(value).as_string()}\n"


def _changed(row: str, key: str, value: Scalar) -> str | None:
    """The row with another value, its comment kept; None for a row that holds more than that."""
    import tomlkit  # noqa: PLC0415
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415

    try:
        line = tomlkit.parse(row)
    except TOMLKitError:
        return None
    if list(line) != [key]:
        return None
    line[key] = value
    return tomlkit.dumps(line)


def _checked(written: str, meant: Mapping[str, Any]) -> str | None:
    try:
        return written if tomllib.loads(written) == meant else None
    except tomllib.TOMLDecodeError:
        return None


def entry_at(document: Mapping[str, Any], kind: str, key: str, value: str) -> int | None:
    """Which entry of that kind has that value; None if none has."""
    entries: Sequence[Any] = document.get(kind, [])
    for place, entry in enumerate(entries):
        if isinstance(entry, dict) and entry.get(key) == value:
            return place
    return None
