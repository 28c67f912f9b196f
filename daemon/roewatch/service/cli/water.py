"""`roewatch water`: the water bench. Every answer with its range, what to mind, or why not."""

import typer

from roewatch.service.cli.water_blend import acid, blend, titrate
from roewatch.service.cli.water_drip import drip
from roewatch.service.cli.water_measure import (
    brine,
    change,
    conductivity,
    electrode,
    hardness,
    topup,
)
from roewatch.service.cli.water_ramp import ramp
from roewatch.service.cli.water_reading import ammonia, dioxide, oxygen

app = typer.Typer(
    help="The water bench: blends, acid, ramps, gases, hardness, conductivity.",
    no_args_is_help=True,
)
app.command("blend")(blend)
app.command("ramp")(ramp)
app.command("ammonia")(ammonia)
app.command("oxygen")(oxygen)
app.command("dioxide")(dioxide)
app.command("hardness")(hardness)
app.command("conductivity")(conductivity)
app.command("acid")(acid)
app.command("change")(change)
app.command("titrate")(titrate)
app.command("drip")(drip)
app.command("topup")(topup)
app.command("brine")(brine)
app.command("electrode")(electrode)
