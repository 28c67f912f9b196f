"""`roewatch check`: every fault in the settings and the species sheets, at once."""

import json as jsonlib
import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn

from roewatch.room.fault import SettingsError
from roewatch.service.cli.options import RoomFile, room_file
from roewatch.service.settings.document import SettingsFault
from roewatch.service.settings.load import Setup, faults_of, load_setup
from roewatch.service.settings.species import counted

if TYPE_CHECKING:
    from roewatch.service.settings.trial import Tried


def check(
    room: RoomFile = None,
    live: Annotated[
        bool,
        typer.Option(
            "--live",
            help="Also try the broker, each probe, the store and the mirror, and send each "
            "contact a test notice.",
        ),
    ] = False,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.0, max=3600.0, help="With --live: listen so long.")
    ] = 20.0,
    sources: Annotated[
        bool,
        typer.Option("--sources", help="Also count how well each species sheet is founded."),
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="One JSON object a line.")] = False,
) -> None:
    """Name every fault in the settings and species sheets, with file, line, key and cure.

    Starts nothing. Exit status: 0 no fault, 1 faults found, 2 could not run.
    """
    file = room_file(room)
    if not file.is_file():
        raise SettingsError(faults_of(file, os.environ)[:1])
    faults = faults_of(file, os.environ)
    _tell("fault", faults, json)
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        print(f"{count} to mend before the daemon can start.", file=sys.stderr)
        raise typer.Exit(1)
    setup = load_setup(file, os.environ)
    _tell("advice", setup.advice, json)
    if sources:
        _tell_sources(setup, json)
    print(_summary(setup, file), file=sys.stderr)
    _tell_storage(setup, json)
    if live and not _try_all(setup, seconds, json):
        raise typer.Exit(1)


def _summary(setup: Setup, file: Path) -> str:
    return (
        f"{file}: no fault. {len(setup.room.tanks)} tanks, {len(setup.room.probes)} probes, "
        f"{len(setup.contacts)} contacts, {len(setup.species)} species sheets."
    )


def _tell_storage(setup: Setup, json: bool) -> None:
    """What the readings will take; from what was measured, once there is enough in the store."""
    # loading the store takes a while, and a room with faults must not wait for it
    from roewatch.storage.forecast import forecast  # noqa: PLC0415
    from roewatch.storage.reader import Records  # noqa: PLC0415
    from roewatch.storage.trouble import StoreError  # noqa: PLC0415

    records = Records(setup.storage.path)
    try:
        packed = records.packed()
    except StoreError:  # not begun yet; --live says more about what is wrong with it
        packed = (0, 0)
    finally:
        records.close()
    year = forecast(setup.room.probes, packed=packed)
    if json:
        _line(
            "storage",
            readings_a_year=year.readings_a_year,
            bytes_a_reading=round(year.bytes_a_reading, 3),
            bytes_a_year=year.bytes_a_year,
            measured=year.measured,
        )
    else:
        print(f"{setup.storage.path}: {year.text()}", file=sys.stderr)


def _tell(kind: str, said: Iterable[SettingsFault], json: bool) -> None:
    for fault in said:
        if json:
            _line(
                kind,
                file=fault.file,
                line=fault.line,
                key=fault.key,
                what=fault.what,
                fix=fault.fix,
            )
        else:
            print(f"{fault}" if kind == "fault" else f"{kind}: {fault}")


def _tell_sources(setup: Setup, json: bool) -> None:
    for row in counted(setup.sources):
        if json:
            _line("sources", **row)
        else:
            numbers = ", ".join(
                f"{n} {basis}" for basis, n in row.items() if isinstance(n, int) and n
            )
            print(f"{row['species']}: {numbers}")


def _line(kind: str, **said: Any) -> None:
    print(jsonlib.dumps({"kind": kind, **said}, ensure_ascii=False))


def _try_all(setup: Setup, seconds: float, json: bool) -> bool:
    """Try everything the settings name; whether all of it was good."""
    good = True
    for tried in _trials(setup, seconds):
        good &= tried.good
        if json:
            _line("live", part=tried.part, name=tried.name, good=tried.good, says=tried.says)
        else:
            print(
                f"{'good' if tried.good else 'BAD ':<4} {tried.part:<8} {tried.name}: {tried.says}"
            )
    return good


def _trials(setup: Setup, seconds: float) -> Iterator["Tried"]:
    # the network libraries are heavy, and a plain check must be quick
    from roewatch.service.clock import WallClock  # noqa: PLC0415
    from roewatch.service.settings import trial  # noqa: PLC0415

    trials = {
        "listening to the probes": trial.broker_trial(seconds, WallClock().now_ms),
        "looking at the store": trial.store_trial,
        "asking the mirror": trial.mirror_trial,
        "sending test notices": trial.contact_trial(trial.send_test),
    }
    with Progress(
        SpinnerColumn(),
        TextColumn("{task.description}"),
        transient=True,
        console=Console(stderr=True),
        disable=not sys.stderr.isatty(),
    ) as progress:
        task = progress.add_task("", total=None)
        for words, attempt in trials.items():
            progress.update(task, description=words)
            yield from attempt(setup)
