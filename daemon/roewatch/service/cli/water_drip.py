"""`roewatch water drip`: moving animals without breaking a limit."""

from typing import Annotated

import typer

from roewatch.breeding import drip as drips
from roewatch.service.cli.options import RoomFile
from roewatch.service.cli.water_given import (
    Json,
    Room,
    answering,
    refuse,
    table,
    tell,
    water_of,
    waters_of,
)
from roewatch.water import carbonate
from roewatch.water.refusal import RefusedError


@answering
def drip(
    bag: Annotated[str, typer.Option("--bag", help="The water the animals are in, with litres.")],
    tank: Annotated[str, typer.Option("--tank", help="The water they go to.")],
    room: RoomFile = None,
    co2: Room = carbonate.ROOM_UATM,
    json: Json = False,
) -> None:
    """Bring healthy adults over by drip: how fast, how long, and when a drip is not enough.

    Exit status: 0 done, 1 no drip is slow enough, 2 could not run.
    """
    known = waters_of(room)
    litres, source = water_of(bag, known)
    if litres is None:
        raise RefusedError(f"{source.name}: how much water are they in? Add litres=4.")
    goes_to = water_of(tank, known)[1]
    try:
        found = drips.over(
            litres=litres, bag=source, tank=goes_to, paces=drips.ADULTS_MOVING, pco2=co2
        )
    except drips.NoDripError as refused:
        refuse(str(refused), json=json, status=1)
    rows = [("hours", "pH", "°C", "µS/cm")]
    rows += [
        (
            f"{hours:.1f}",
            f"{state.ph:.2f}",
            f"{state.celsius:.1f}",
            "" if state.conductivity is None else f"{state.conductivity:.0f}",
        )
        for hours, state in found.states[::6]
    ]
    lines = [
        (
            f"Float {found.float_minutes} min, then drip {found.litres_per_hour:.1f} L/h "
            f"(about {found.drops_per_second:.0f} drops a second) for {found.hours:.1f} h: "
            f"{found.litres_needed:.1f} L in all, letting the rest run over."
        ),
        "",
        *table(rows, right=(0, 1, 2, 3)),
    ]
    tell(found, lines, json=json, cautions=found.cautions)
