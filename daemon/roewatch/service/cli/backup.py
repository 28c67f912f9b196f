"""`roewatch backup`, `restore` and `salvage`: the store itself, out and back."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn

from roewatch.service.cli.options import Json, RoomFile, json_line, setup_of
from roewatch.service.clock import WallClock

Saved = Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="The backup.")]


def backup(
    to: Annotated[Path, typer.Argument(help="A new file; backups are not overwritten.")],
    room: RoomFile = None,
    json: Json = False,
) -> None:
    """Copy the whole store while the daemon runs, and check the copy fully."""
    from roewatch.storage import backup as backups  # noqa: PLC0415

    setup = setup_of(room)
    if not to.parent.is_dir():
        raise typer.BadParameter(f"there is no folder {to.parent}; make it first")
    with _bar("copying") as told:
        found = backups.backup(setup.storage.path, to, progress=told)
    if json:
        json_line({"file": str(to), "schema": found.schema, "readings": found.readings})
    else:
        print(f"{to}: sound, {found.readings} readings, schema {found.schema}")


def restore(
    saved: Saved,
    room: RoomFile = None,
    check: Annotated[
        bool, typer.Option("--check", help="Only check the backup; change nothing.")
    ] = False,
    json: Json = False,
) -> None:
    """Put a backup in the store's place; the store that was there is kept beside it.

    The daemon must not be running. Exit status: 0 done, 1 the backup is not sound (--check),
    2 could not run.
    """
    from roewatch.storage import backup as backups  # noqa: PLC0415

    if check:
        found = backups.verify(saved)
        if json:
            json_line(
                {
                    "file": str(saved),
                    "schema": found.schema,
                    "readings": found.readings,
                    "faults": list(found.faults),
                }
            )
        else:
            sound = "sound" if not found.faults else "NOT SOUND"
            print(f"{saved}: {sound}, {found.readings} readings, schema {found.schema}")
            for fault in found.faults:
                print(f"  {fault}")
        if found.faults:
            raise typer.Exit(1)
        return
    store = setup_of(room).storage.path
    moved = backups.restore(saved, store, now_ms=WallClock().now_ms())
    if json:
        json_line({"store": str(store), "before": None if moved is None else str(moved)})
    else:
        print(f"{store}: restored from {saved}")
        if moved is not None:
            print(f"what was there before lies in {moved}")


def salvage(
    damaged: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="The damaged file.")],
    room: RoomFile = None,
    json: Json = False,
) -> None:
    """Bring what can still be read from a damaged store into the room's store.

    The daemon must not be running. May be run again. Exit status: 0 all of it was read, 1 some of
    it is lost (each gap is named), 2 could not run.
    """
    from roewatch.storage.salvage import salvage as bring_over  # noqa: PLC0415
    from roewatch.storage.store import Store  # noqa: PLC0415

    store = Store.open(setup_of(room).storage.path)
    try:
        found = bring_over(damaged, store)
    finally:
        store.close()
    counts = {
        "readings": found.readings,
        "journal": found.journal,
        "plans": found.plans,
        "broods": found.broods,
        "alarms": found.alarms,
    }
    if json:
        json_line(counts | {"lost": found.lost})
    else:
        print(", ".join(f"{count} {word}" for word, count in counts.items()))
        for gap in found.lost:
            print(f"lost: {gap}")
    if found.lost:
        print(f"{len(found.lost)} gaps could not be read", file=sys.stderr)
        raise typer.Exit(1)


@contextmanager
def _bar(words: str) -> Iterator[Callable[[float], None]]:
    with Progress(
        words,
        BarColumn(),
        TaskProgressColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    ) as bar:
        task = bar.add_task(words, total=1.0)
        yield lambda share: bar.update(task, completed=share)
