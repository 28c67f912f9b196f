"""The environment: `ROEWATCH_SECTION__KEY` replaces what the file says; secrets lie in files."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel
from pydantic_settings import BaseSettings, EnvSettingsSource, SettingsConfigDict
from pydantic_settings import SettingsError as UnreadableEnvironment

from roewatch.service.settings.document import Document, did_you_mean
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.written import SecretText

PREFIX = "ROEWATCH_"
_BETWEEN = "__"
_ROOM_FOR_A_SECRET = 10_000

Held = TypeVar("Held", bound=BaseModel)


class _Given(EnvSettingsSource):
    """Reads the mapping it is given, never the process's own environment behind its back."""

    def __init__(self, settings: type[BaseSettings], given: Mapping[str, str]) -> None:
        self._given = {name.lower(): value for name, value in given.items()}
        super().__init__(settings)

    def _load_env_vars(self) -> Mapping[str, str | None]:
        return self._given


def overlaid(document: Document, sections: type[BaseSettings], env: Mapping[str, str]) -> None:
    """Lay the environment over `document`, and note variables that fit no section.

    sections: one field for each table that may be overridden so.
    """
    variables = {name: text for name, text in env.items() if name.startswith(PREFIX)}
    ours: dict[str, str] = {}
    for name, text in variables.items():
        section, between, key = name.removeprefix(PREFIX).lower().partition(_BETWEEN)
        if not between:
            continue
        path: KeyPath = (section, *key.split(_BETWEEN))
        document.environment = {**document.environment, path: name}
        if section not in sections.model_fields:
            cure = did_you_mean(section, sections.model_fields)
            document.fault(path, f"there is no section {section!r} to set so", cure)
        else:
            ours[name] = text
    for name, text in ours.items():
        # one at a time, so that one that cannot be read does not hide the others
        try:
            found = _Given(sections, {name: text})()
        except (UnreadableEnvironment, RecursionError):  # the latter: [[[[… without an end
            path = next(path for path, held in document.environment.items() if held == name)
            document.fault(path, "cannot be read as a list", 'Write it as JSON: ["a", "b"]')
            continue
        for section, table in found.items():
            there = document.table.setdefault(section, {})
            if isinstance(there, dict) and isinstance(table, dict):
                there.update(table)


def environment_model(name: str, sections: Mapping[str, type[BaseModel]]) -> type[BaseSettings]:
    """The model `overlaid` reads variables by: one field for each section."""
    return type(
        name,
        (BaseSettings,),
        {
            "__annotations__": dict(sections),
            "__module__": __name__,
            "model_config": SettingsConfigDict(
                env_prefix=PREFIX, env_nested_delimiter=_BETWEEN, strict=True, extra="forbid"
            ),
        },
    )


def with_secrets(held: Held, document: Document, path: KeyPath, folder: Path) -> Held:
    """`held` with every `…_file` read into the secret beside it.

    folder: what relative paths start from. What cannot be read is noted in `document`.
    """
    found: dict[str, Any] = {}
    for key in type(held).model_fields:
        file = getattr(held, f"{key}_file", "")
        if not file:
            continue
        place = (*path, f"{key}_file")
        if getattr(held, key) is not None:
            document.fault(place, f"both {key} and {key}_file are given", "Keep one of the two")
            continue
        secret = _secret(folder / file, document, place)
        if secret is not None:
            found[key] = SecretText(secret)
    return held.model_copy(update=found)


def _secret(file: Path, document: Document, place: KeyPath) -> str | None:
    try:
        with file.open(encoding="utf-8") as stream:
            secret = stream.read(_ROOM_FOR_A_SECRET).strip()
            open_to_all = os.fstat(stream.fileno()).st_mode & 0o004
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "not text"
        document.fault(
            place,
            f"the secret's file {str(file)!r} cannot be read: {why}",
            "Write the secret into it, alone, readable by the daemon's user only (chmod 600)",
        )
        return None
    if not secret:
        document.fault(
            place, f"the secret's file {str(file)!r} is empty", "Write the secret into it"
        )
        return None
    if open_to_all:
        what = f"everybody on this machine can read {str(file)!r}"
        document.advice.append(document.placed(place, what, f"Close it: chmod 600 {file}"))
    return secret
