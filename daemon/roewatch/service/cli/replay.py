"""`roewatch replay`: judge recorded readings at full speed."""

import json
import os
import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

from roewatch.service.cli.options import RoomFile, moment_option, room_file, span_option

FileOption = Annotated[Path, typer.Option(exists=True, dir_okay=False)]


def replay(
    readings: Annotated[
        Path,
        typer.Option(
            exists=True,
            dir_okay=False,
            help="CSV time,tank,quantity,value, or Parquet of the same.",
        ),
    ],
    room: RoomFile = None,
    journal: Annotated[
        Path | None,
        typer.Option(exists=True, dir_okay=False, help="CSV time,tank,event,until,detail."),
    ] = None,
    from_: Annotated[
        str | None,
        typer.Option("--from", help="ISO 8601 with a zone; readings before are left out."),
    ] = None,
    to: Annotated[
        str | None,
        typer.Option("--to", help="ISO 8601 with a zone; readings from then on are left out."),
    ] = None,
    learn: Annotated[
        str | None,
        typer.Option(help="Only learn during this first span, e.g. '2 d'; tell nothing."),
    ] = None,
) -> None:
    """Judge recorded readings; print every alarm change as a line of JSON."""
    from roewatch.alarms.line import alarm_line  # noqa: PLC0415
    from roewatch.service import replay as recorded  # noqa: PLC0415
    from roewatch.service.collecting import collect_seldom  # noqa: PLC0415
    from roewatch.service.settings.load import load_setup  # noqa: PLC0415
    from roewatch.service.stages import Stages  # noqa: PLC0415

    setup = load_setup(room_file(room), os.environ)
    entries = recorded.read_journal(journal, setup.room) if journal else []
    read = recorded.read_readings(
        readings, setup.room, from_ms=moment_option(from_), to_ms=moment_option(to)
    )
    for why, count in read.refused.most_common():
        print(f"refused {count} rows: {why} (first: {read.example[why]})", file=sys.stderr)
    if not read.readings:
        print("no reading to judge", file=sys.stderr)
        raise typer.Exit(2)
    collect_seldom(len(setup.room.probes))
    talk = Console(stderr=True)
    with Progress(
        "judging",
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=talk,
        transient=True,
    ) as bar:
        task = bar.add_task("judging", total=len(read.readings) + len(entries))
        for change in recorded.replay(
            setup.room,
            read.readings,
            entries,
            limits=setup.limits,
            facts=setup.facts,
            stages=Stages(setup.room_in, {}),
            learn_ms=span_option(learn) if learn else 0,
            progress=lambda done: bar.update(task, completed=done),
        ):
            print(json.dumps(alarm_line(change), ensure_ascii=False))
