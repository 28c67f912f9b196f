"""`roewatch graph`: the picture the page shows, as a file."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from roewatch.service.cli.options import RoomFile, room_file, span_option
from roewatch.service.clock import WallClock


def graph(
    tank: Annotated[str, typer.Argument(help="The tank's id, e.g. A1.")],
    quantity: Annotated[str, typer.Argument(help="temperature, ph, conductivity, …")],
    room: RoomFile = None,
    last: Annotated[str, typer.Option(help="How far back, e.g. 7d, 12 h.")] = "7d",
    out: Annotated[
        Path | None, typer.Option(help="FILE.svg or FILE.png; without it SVG goes to stdout.")
    ] = None,
) -> None:
    """Draw a tank's quantity with its window, plan and events."""
    from roewatch.service.live import RoomRecords  # noqa: PLC0415
    from roewatch.service.replay import quantity_named  # noqa: PLC0415
    from roewatch.service.settings.load import load_setup  # noqa: PLC0415
    from roewatch.views import chart, week  # noqa: PLC0415

    if out is not None and out.suffix not in {".svg", ".png"}:
        raise typer.BadParameter(f"{out} ends in neither .svg nor .png", param_hint="--out")
    setup = load_setup(room_file(room), os.environ)
    try:
        wanted = quantity_named(quantity)
        setup.room.tank(tank)
    except (ValueError, KeyError) as unknown:
        raise typer.BadParameter(str(unknown.args[0])) from None
    now_ms = WallClock().now_ms()
    records = RoomRecords(setup.storage.path, setup.room)
    try:
        drawn = chart.svg(
            week.chart_of(
                records,
                setup.room,
                tank,
                wanted,
                from_ms=now_ms - span_option(last),
                to_ms=now_ms,
                now_ms=now_ms,
            )
        )
    finally:
        records.close()
    if out is None:
        print(drawn)
    elif out.suffix == ".svg":
        out.write_text(drawn, encoding="utf-8")
    else:
        out.write_bytes(chart.png(drawn))
    if out is not None:
        print(f"wrote {out}", file=sys.stderr)
