"""The reference pages, written from the program: settings, commands, API, mirror, licences."""

import inspect
import json
import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import Distribution, distribution
from pathlib import Path
from typing import Any

import typer
from packaging.requirements import Requirement
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import at_ms_of_iso
from roewatch.room.quantity import DERIVED, KEPT, Quantity
from roewatch.room.tank import Probe
from roewatch.service.cli import app
from roewatch.service.settings.load import ENTRIES, SECTIONS
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.written import span_as_written
from roewatch.storage.cell import cell_of
from roewatch.storage.day import Cells
from roewatch.storage.line import event_line, event_of_entry, reading_lines

ROOT = Path(__file__).parents[2]
PAGES = ROOT / "deploy/docs/reference"
_MIT = "Permission is hereby granted, free of charge, to any person obtaining a"
_WRITTEN = "<!-- Written by the program: python -m tests.deploy.refresh_reference -->\n\n"


def pages() -> dict[str, str]:
    """Every reference page by its file name."""
    return {
        "settings.md": _WRITTEN + "".join(settings()),
        "commands.md": _WRITTEN + "".join(commands()),
        "api.md": _WRITTEN + "".join(api()),
        "quantities.md": _WRITTEN + "".join(quantities()),
        "licences.md": _WRITTEN + "".join(licences()),
    }


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


# -- settings -----------------------------------------------------------------------------------


def settings() -> Iterator[str]:
    """Every section and entry of room.toml with its keys, then the sample that explains them."""
    yield (
        "# Settings\n\nEvery key of `room.toml`. A section in single brackets stands once and may "
        "be left out; one in double brackets stands as often as it is needed. A key without a "
        "default must be written. Of sections that stand once, any key can come from the "
        "environment instead: `ROEWATCH_BROKER__PORT=1884` is `port = 1884` under `[broker]`. What "
        "each key means stands in [the sample](#the-sample) below, where it is used.\n"
    )
    for name, model in SECTIONS.items():
        yield from _table(f"[{name}]", model)
    for name, model in ENTRIES.items():
        yield from _table(f"[[{name}]]", model)
    sample = (shipped_config() / "room.toml").read_text(encoding="utf-8")
    yield f"\n## The sample\n\n`roewatch init --sample` prints it.\n\n```toml\n{sample}```\n"


def _table(title: str, model: type[BaseModel]) -> Iterator[str]:
    yield f"\n## `{title}`\n\n| key | default | for example |\n|---|---|---|\n"
    for key, field in model.model_fields.items():
        example = _toml(field.examples[0]) if field.examples else ""
        yield f"| `{key}` | {_cell(_default(field))} | {_cell(example)} |\n"


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "must be written"
    value = field.get_default(call_default_factory=True)
    if value is None:
        return "none"
    if isinstance(value, BaseModel):
        return "nothing of its own"
    example = (field.examples or [None])[0]
    if isinstance(value, int) and not isinstance(value, bool) and isinstance(example, str):
        return _clock(value) if ":" in example else f"`{span_as_written(value)}`"
    if isinstance(value, tuple | list) and value and isinstance(value[0], int):
        return "`" + ", ".join(map(span_as_written, value)) + "`"
    return _toml(value)


def _clock(minutes: int) -> str:
    return f"`{minutes // 60:02}:{minutes % 60:02}`"


def _toml(value: Any) -> str:
    return f"`{json.dumps(value, ensure_ascii=False, default=str)}`"


# -- commands -----------------------------------------------------------------------------------


def commands() -> Iterator[str]:
    """Every command with its options."""
    yield (
        "# Commands\n\nData goes to standard output, talk to standard error. Exit status of every "
        "command: 0 done, 1 found something wrong, 2 could not run. `roewatch "
        "--install-completion` teaches your shell to complete commands and options, `roewatch "
        "--version` says which version this is.\n"
    )
    yield from _commands(typer.main.get_command(app), "roewatch")


def _commands(command: Any, path: str) -> Iterator[str]:
    below = getattr(command, "commands", None)
    if below is not None:
        for name in sorted(below):
            yield from _commands(below[name], f"{path} {name}")
        return
    yield f"\n## `{path}`\n\n{inspect.cleandoc(command.help or '')}\n\n"
    rows = [row for param in command.params if (row := _option(param))]
    if rows:
        yield "| | default | |\n|---|---|---|\n" + "".join(rows)


def _option(param: Any) -> str:
    if getattr(param, "hidden", False) or param.name == "help":
        return ""
    if param.param_type_name == "argument":
        sign = f"`{(param.metavar or param.name).upper()}`"
    else:
        sign = ", ".join(f"`{text}`" for text in [*param.opts, *param.secondary_opts])
    shown = getattr(param, "show_default", True)
    default = param.default if shown is True else shown
    if param.required:
        text = "must be given"
    elif default in {None, False, "", ()} or default == [] or callable(default):
        text = ""
    else:
        text = f"`{default}`"
    return f"| {sign} | {_cell(text)} | {_cell(getattr(param, 'help', None) or '')} |\n"


# -- API ----------------------------------------------------------------------------------------


def api() -> Iterator[str]:
    """Every address of the HTTP API, from the document the pages serve."""
    document = json.loads((ROOT / "daemon/roewatch/views/static/openapi.json").read_text())
    yield (
        f"# HTTP API\n\n{document['info']['description']}\n\n"
        "The whole of it, with every schema, is served by the running daemon at `/api` (OpenAPI). "
        "Beside it: `/metrics` (OpenMetrics 1.0) and `/healthz` (200, or 503 while it is cut off "
        "from the broker).\n\n"
        "| | address | does | parameters |\n|---|---|---|---|\n"
    )
    for path, methods in document["paths"].items():
        for method, about in methods.items():
            given = ", ".join(
                f"`{_named(document, param)}`" for param in about.get("parameters", [])
            )
            yield f"| {method.upper()} | `{path}` | {_cell(about['summary'])} | {given} |\n"


def _named(document: dict[str, Any], param: dict[str, Any]) -> str:
    while "$ref" in param:
        found: Any = document
        for part in param["$ref"].removeprefix("#/").split("/"):
            found = found[part]
        param = found
    return str(param["name"])


# -- quantities and the mirror ------------------------------------------------------------------


def quantities() -> Iterator[str]:
    """What can be measured, and how a reading and an event look in the mirror."""
    yield (
        "# Quantities, and the lines of the mirror\n\n| `quantity` | kept unit | shown with | |\n"
        "|---|---|---|---|\n"
    )
    for quantity, kept in KEPT.items():
        derived = "worked out where no probe measures it" if quantity in DERIVED else ""
        yield f"| `{quantity}` | {kept.unit or '–'} | {kept.digits} decimals | {derived} |\n"
    probe = Probe(id="a3-temperature", tank="A3", quantity=Quantity.TEMPERATURE, every_ms=60_000)
    at_ms = at_ms_of_iso("2026-03-01T11:20:00Z")
    cells = Cells(at_ms=[at_ms], cell=[cell_of(26.5)], flag=[1])
    lines = list(reading_lines("boathouse", probe, cells))
    entry = JournalEntry(at_ms=at_ms, tank="A3", deed=Deed.NOTE, detail="moss added")
    lines.append(event_line("boathouse", event_of_entry(3, entry)))
    yield (
        "\nA reading and a journal entry as they are written into the mirror; "
        "[the mirror](mirror.md) explains the measurements.\n\n```\n" + "\n".join(lines) + "\n```\n"
    )


# -- licences -----------------------------------------------------------------------------------


def licences() -> Iterator[str]:
    """Every package the daemon brings along, with its licence, as its own metadata has it."""
    found = brought()
    asked = sum("roewatch" in by for _, by in found.values())
    yield (
        "# Licences of what comes along\n\nRoewatch itself is under the MIT licence. Installed "
        "with `[png]`, it brings these packages; the licence is what each package says of itself. "
        "Versions are those of `deploy/constraints.txt`. "
        f"{len(found)} packages, {asked} of them asked for by Roewatch itself.\n\n"
        "| package | licence | brought by |\n|---|---|---|\n"
    )
    for name, (one, by) in sorted(found.items()):
        yield f"| {name} | {_cell(licence(one))} | {', '.join(sorted(by))} |\n"


def brought() -> dict[str, tuple[Distribution, set[str]]]:
    """Every distribution Roewatch needs at run time, by name; and by whom it is asked for."""
    found: dict[str, tuple[Distribution, set[str]]] = {}
    # not from our own metadata: an editable install keeps that of the day it was made
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["png"]]
    waiting = [("roewatch", Requirement(text), set[str]()) for text in wanted]
    while waiting:
        by, requirement, extras = waiting.pop()
        if requirement.marker and not any(
            requirement.marker.evaluate({"extra": extra}) for extra in extras or {""}
        ):
            continue
        name = re.sub(r"[-_.]+", "-", requirement.name).lower()
        if name in found:
            found[name][1].add(by)
            continue
        found[name] = (distribution(requirement.name), {by})
        waiting += [(name, one, requirement.extras) for one in _needs(requirement.name)]
    return found


def _needs(name: str) -> list[Requirement]:
    return [Requirement(text) for text in distribution(name).requires or []]


def licence(found: Distribution) -> str:
    """In its own words: the SPDX expression, else the classifiers, else the free text."""
    meta: Any = found.metadata
    if meta.get("License-Expression"):
        return str(meta["License-Expression"])
    classified = [
        text.rpartition(" :: ")[2]
        for text in meta.get_all("Classifier") or []
        if text.startswith("License ::") and text != "License :: OSI Approved"
    ]
    if classified:
        return ", ".join(classified)
    if meta.get("License"):
        return str(meta["License"]).strip().splitlines()[0][:60]
    texts = (file.read_text() for file in found.files or [] if file.name.startswith("LICENSE"))
    return "MIT, by its licence file" if any(_MIT in text for text in texts) else "not said"
