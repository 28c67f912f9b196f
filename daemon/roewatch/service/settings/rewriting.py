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

from roewatch.service.settings.lines import KeyPath, lines_of, rows_of

Scalar = str | int | float | bool


def put(file: Path, text: str) -> None:
    """`text` in the file's place, with its owner and mode. Raises OSError; then nothing changed."""
    part = file.with_name(file.name + ".part")
    try:
        part.touch(mode=0o600)  # it may hold secrets before it has the file's own mode
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


def with_keys(text: str, table: KeyPath, values: Mapping[str, Scalar]) -> str | None:
    """`text` with these keys of one table set; None where the file is written in a way of its own.

    table: `("broker",)` for a section, which is added if it is missing, `("tank", 2)` for an
    entry, counted from 0, or `("contact", 0, "ways", 1)` for an entry of an entry.
    """
    meant = tomllib.loads(text)
    if len(table) == 1 and table[0] not in meant:
        return with_entry(text, f"[{table[0]}]", values)
    _inner(meant, table).update(values)
    rows = rows_of(text)
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
    # new keys stand behind the id or the name, where there is one: that comes first
    first = next((key for key in ("id", "name") if (*table, key) in places), None)
    head = places[table if first is None else (*table, first)]
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


def with_entry_within(
    text: str, table: KeyPath, kind: str, values: Mapping[str, Scalar]
) -> str | None:
    """`text` with a new entry at the end of another: a way of `("contact", 0)`."""
    meant = tomllib.loads(text)
    entries = _inner(meant, table).setdefault(kind, [])
    if not isinstance(entries, list):
        return None
    entries.append(dict(values))
    rows = rows_of(text)
    end = _end_of(text, table)
    if not rows[end - 1].endswith("\n"):
        rows[end - 1] += "\n"
    names = ".".join(str(key) for key in table if isinstance(key, str))
    head = f"\n[[{names}.{kind}]]\n"
    rows[end:end] = [head, *(_row(key, value) for key, value in values.items())]
    return _checked("".join(rows), meant)


def without_entry(text: str, table: KeyPath) -> str | None:
    """`text` without one entry; the comments between its lines go with it, those around it stay."""
    meant = tomllib.loads(text)
    *above, at = table
    entries = _inner(meant, above)
    del entries[at]
    if not entries:
        *above, kind = above
        del _inner(meant, above)[kind]
    rows = rows_of(text)
    begin = lines_of(text)[table] - 1
    if not rows[begin].lstrip().startswith("[["):
        return None
    del rows[begin : _end_of(text, table)]
    return _checked("".join(rows), meant)


def with_sooner(text: str, kind: str, at: int) -> str | None:
    """`text` with an entry of that kind put before the one in front of it. at: from 1 up."""
    meant = tomllib.loads(text)
    entries = meant[kind]
    entries[at - 1], entries[at] = entries[at], entries[at - 1]
    rows = rows_of(f"{text}\n")
    places = lines_of(text)
    first, second = (places[(kind, n)] - 1 for n in (at - 1, at))
    if not all(rows[line].lstrip().startswith("[[") for line in (first, second)):
        return None
    after_first, after_second = (_end_of(text, (kind, n)) for n in (at - 1, at))
    swapped = rows[:first] + rows[second:after_second] + rows[after_first:second]
    swapped += rows[first:after_first] + rows[after_second:]
    return _checked("".join(swapped)[:-1], meant)


def without_keys(text: str, table: KeyPath, keys: Sequence[str]) -> str | None:
    """`text` without these keys of one table, as far as it has them."""
    meant = tomllib.loads(text)
    places, rows = lines_of(text), rows_of(text)
    inner = _inner(meant, table)
    gone = [key for key in keys if inner.pop(key, None) is not None]
    for line in sorted((places[(*table, key)] for key in gone), reverse=True):
        del rows[line - 1]
    return _checked("".join(rows), meant)


def _inner(document: Any, table: Sequence[str | int]) -> Any:
    for key in table:
        document = document[key]
    return document


def _end_of(text: str, table: KeyPath) -> int:
    """How many lines lie before the end of an entry: what is next to it is no part of it."""
    places = lines_of(text)
    rows = [row.rstrip("\r\n") for row in rows_of(text)]
    others = [
        line
        for path, line in places.items()
        if line > places[table] and path[: len(table)] != table
    ]
    end = min(others) - 1 if others else len(rows)
    while not rows[end - 1].strip() or rows[end - 1].lstrip().startswith("#"):
        end -= 1
    return end


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
