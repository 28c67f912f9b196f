"""`roewatch passphrase`: the line that lets a person in, without the passphrase in it."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer


def passphrase(
    out: Annotated[
        Path | None,
        typer.Option(help="Write the line into this file, for you alone to read; else to stdout."),
    ] = None,
) -> None:
    """Ask for a passphrase twice and make the line for a person in room.toml.

    Without a terminal the passphrase is read as one line from stdin.
    """
    from roewatch.views.passphrase import hashed  # noqa: PLC0415

    try:
        line = hashed(_asked())
    except ValueError as refusal:
        print(f"roewatch: {refusal}", file=sys.stderr)
        raise typer.Exit(2) from None
    if out is None:
        print(line)
        return
    try:
        # nobody else may read it even for a moment
        handle = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        print(f"roewatch: {out} is there already; move it away first", file=sys.stderr)
        raise typer.Exit(2) from None
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(f"{line}\n")
    print(f'wrote {out}; under [[person]] say: passphrase_file = "{out}"', file=sys.stderr)


def _asked() -> str:
    if sys.stdin.isatty():
        said: str = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
        return said
    return sys.stdin.readline().rstrip("\r\n")
