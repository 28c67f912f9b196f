"""`roewatch graph`: the picture the page shows, as a file."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from roewatch.service.cli.options import RoomFile, here, now_of, quantity_option, span_option


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
    from roewatch.views import chart, week  # noqa: PLC0415
    from roewatch.views.picture import NoPictureError  # noqa: PLC0415

    if out is not None and out.suffix not in {".svg", ".png"}:
        raise typer.BadParameter(f"{out} ends in neither .svg nor .png", param_hint="--out")
    wanted = quantity_option(quantity)
    back_ms = span_option(last)
    with here(room) as (setup, records):
        try:
            setup.room.tank(tank)
        except KeyError as unknown:
            raise typer.BadParameter(str(unknown.args[0])) from None
        now_ms = now_of(records)
        drawn = chart.svg(
            week.chart_of(
                records,
                setup.room,
                tank,
                wanted,
                from_ms=now_ms - back_ms,
                to_ms=now_ms,
                now_ms=now_ms,
                look=week.Look(
                    past=week.Past(windows_of=setup.windows_of, named_of=setup.stage_named)
                ),
            )
        )
    if out is None:
        print(drawn)
        return
    if out.suffix == ".svg":
        out.write_text(drawn, encoding="utf-8")
    else:
        try:
            out.write_bytes(chart.png(drawn))
        except NoPictureError as missing:
            raise typer.BadParameter(str(missing), param_hint="--out") from None
    print(f"wrote {out}", file=sys.stderr)
