"""`roewatch water blend`, `acid` and `titrate`: making a water."""

from collections.abc import Sequence
from typing import Annotated

import typer

from roewatch.service.cli.options import RoomFile
from roewatch.service.cli.water_given import (
    WATER_HELP,
    Celsius,
    Json,
    Room,
    answering,
    numbers_of,
    poured_of,
    refuse,
    spread,
    table,
    tell,
    water_of,
    waters_of,
)
from roewatch.water import acid as acids
from roewatch.water import blend as blends
from roewatch.water import carbonate, recipe, titration
from roewatch.water.acid import Acid, AcidDose
from roewatch.water.blend import Blend, BlendRanges
from roewatch.water.recipe import Wanted
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater
from roewatch.water.titration import BenchStep


@answering
def blend(  # noqa: PLR0913, PLR0917 - the options of a command
    waters: Annotated[list[str], typer.Argument(help=WATER_HELP, show_default=False)],
    want: Annotated[
        str | None,
        typer.Option(
            "--want",
            help='Find the litres for a water: "gh=2 kh=0.5 us=80 ph=6.8"; ph is the aired one.',
        ),
    ] = None,
    litres: Annotated[float, typer.Option("--litres", help="With --want: litres in all.")] = 50.0,
    closed: Annotated[
        bool, typer.Option("--closed", help="With --want: ph is the one just mixed.")
    ] = False,
    move: Annotated[
        str | None,
        typer.Option("--move", help='Set one source, "rain=20": the others make room.'),
    ] = None,
    t: Celsius = None,
    room: RoomFile = None,
    co2: Room = carbonate.ROOM_UATM,
    json: Json = False,
) -> None:
    """Mix two to four waters: pH just mixed and after a day of air, hardness, conductivity.

    Exit status: 0 done, 1 the wanted water is out of reach (the nearest is shown), 2 could not run.
    """
    known = waters_of(room)
    if want is not None:
        _find([water_of(text, known)[1] for text in waters], want, litres, closed, t, co2, json)
        return
    parts = poured_of(waters, known)
    made = blends.pour(parts, pco2=co2, celsius=t)
    if move is not None:
        made = _moved(made, move)
    _tell_blend(made, t=t, co2=co2, json=json)


def _moved(made: Blend, move: str) -> Blend:
    name, _, amount = move.partition("=")
    names = [source.name for source in made.sources]
    if name not in names:
        raise RefusedError(f"--move {move!r}: no water {name!r}; there are {', '.join(names)}.")
    try:
        to = float(amount)
    except ValueError:
        raise RefusedError(f"--move {move!r}: write it as {name}=20.") from None
    return blends.moved(made, source=names.index(name), litres=to)


def _tell_blend(
    made: Blend, *, t: float | None, co2: float, json: bool, head: Sequence[str] = ()
) -> None:
    parts = list(zip(made.litres, made.sources, strict=True))
    sure = blends.ranges(parts, pco2=co2, celsius=t)
    cautions = blends.cautions(made)
    data = {
        "litres": {s.name: litres for litres, s in parts},
        "closed_ph": sure.closed_ph,
        "aired_ph": sure.aired_ph,
        "dgh": sure.dgh,
        "dkh": sure.dkh,
        "conductivity": sure.conductivity,
        "celsius_mixed": made.makeup.celsius,
        "co2_uatm": co2,
    }
    tell(data, [*head, *_blend_lines(made, sure)], json=json, cautions=cautions)


def _blend_lines(made: Blend, sure: BlendRanges) -> list[str]:
    rows = [
        (source.name, f"{litres:.1f} L")
        for litres, source in zip(made.litres, made.sources, strict=True)
    ]
    rows.append(("in all", f"{sum(made.litres):.1f} L"))
    numbers = [
        ("just mixed", f"pH {spread(*sure.closed_ph, digits=2)}", f"{made.makeup.celsius:.1f} °C"),
        (
            "after a day of air",
            f"pH {spread(*sure.aired_ph, digits=2)}",
            f"{made.aired.celsius:.1f} °C, air of {made.pco2:.0f} µatm CO2",
        ),
        ("hardness", f"{spread(*sure.dgh, digits=1)} °dGH", ""),
        ("alkalinity", f"{spread(*sure.dkh, digits=2)} °dKH", ""),
    ]
    if sure.conductivity is not None:
        numbers.append(
            ("conductivity", f"{spread(*sure.conductivity, digits=0)} µS/cm", "at 25 °C, aired")
        )
    return [
        *table(rows, right=(1,)),
        "",
        *table(numbers),
        "",
        "In brackets: where 19 of 20 such blends lie, by the precision of the kits.",
    ]


def _find(
    sources: Sequence[SourceWater],
    want: str,
    litres: float,
    closed: bool,
    t: float | None,
    co2: float,
    json: bool,
) -> None:
    words, given, flags = numbers_of(want, ("gh", "kh", "us", "ph"))
    if words or flags:
        raise RefusedError(f"--want {want!r}: write pairs such as gh=2 us=80.")
    wanted = Wanted(
        dgh=given.get("gh"), dkh=given.get("kh"), conductivity=given.get("us"),
        ph=given.get("ph"), closed=closed,
    )  # fmt: skip
    found = recipe.find(sources, wanted, litres=litres, pco2=co2, celsius=t)
    # litres as they can be measured: the answer is that of the rounded ones
    rounded = [round(part, 1) for part in found.blend.litres]
    made = blends.pour(list(zip(rounded, sources, strict=True)), pco2=co2, celsius=t)
    if found.feasible:
        _tell_blend(made, t=t, co2=co2, json=json)
        return
    if not json:
        _tell_blend(made, t=t, co2=co2, json=False, head=["The nearest these waters come:", ""])
    refuse(
        found.why_not,
        json=json,
        status=1,
        nearest={
            "litres": dict(zip([s.name for s in sources], rounded, strict=True)),
            "numbers": {n.name: {"wanted": n.wanted, "given": n.given} for n in found.numbers},
        },
    )


@answering
def acid(  # noqa: PLR0913, PLR0917 - the options of a command
    water: Annotated[str, typer.Argument(help=WATER_HELP, show_default=False)],
    ph: Annotated[
        float | None, typer.Option("--ph", help="The pH wanted once aired.", show_default=False)
    ] = None,
    dose: Annotated[
        float | None,
        typer.Option("--dose", help="Or: what this dose does, meq/L.", show_default=False),
    ] = None,
    kind: Annotated[Acid, typer.Option("--acid", help="Which strong acid.")] = Acid.HYDROCHLORIC,
    normal: Annotated[
        float, typer.Option("--normal", help="Strength of the *diluted* acid, eq/L.")
    ] = 0.1,
    per_day: Annotated[
        float | None,
        typer.Option(
            "--per-day",
            help="Most pH may fall in a day, when animals cannot be moved out: the dose by days.",
        ),
    ] = None,
    t: Celsius = None,
    room: RoomFile = None,
    co2: Room = carbonate.ROOM_UATM,
    json: Json = False,
) -> None:
    """Dose a strong acid: how much, how far pH dips, where it comes back to, in what order to work.

    For a vat of NAME litres=... Exit status: 0 done, 2 could not or should not be reckoned.
    """
    volume, source = water_of(water, waters_of(room))
    if volume is None:
        raise RefusedError(f"{source.name}: how much of it? Add litres=60.")
    if (ph is None) == (dose is None):
        raise RefusedError("give --ph or --dose, one of the two.")
    makeup = source.makeup
    whole = (
        acids.for_ph(makeup, ph=ph, acid=kind, pco2=co2, celsius=t)
        if ph is not None
        else acids.of_dose(makeup, dose=dose or 0.0, acid=kind, pco2=co2, celsius=t)
    )
    if whole.after_air.alkalinity < 0.0:
        raise RefusedError(
            f"{whole.dose:.3f} meq/L is more acid than the water's {makeup.alkalinity:.3f} meq/L "
            f"of alkalinity: free acid, pH {whole.after_air.ph:.1f}. No animal bears that."
        )
    days = (
        ()
        if per_day is None
        else acids.in_days(
            makeup, dose=whole.dose, fall_per_day=per_day, acid=kind, pco2=co2, celsius=t
        )
    )
    total = acids.millilitres(dose=whole.dose, litres=volume, normal=normal)
    low, high = whole.low_ph, whole.high_ph
    lines = [
        (
            f"{kind} of {normal:g} eq/L into {volume:g} L of {source.name}: {total:.0f} mL in all, "
            f"{whole.dose:.3f} meq/L."
        ),
        (
            f"All at once pH dips to {whole.at_once.ph:.2f}, and comes back to "
            f"{spread(low, whole.after_air.ph, high, digits=2)} as {whole.freed_co2:.0f} mg/L of "
            "CO2 leave."
        ),
        *_by_days(days, volume, normal, per_day, total),
        "",
        "In this order",
        *(f"  {i}. {step}" for i, step in enumerate(acids.ORDER_OF_WORK, start=1)),
    ]
    data = {
        "millilitres": total,
        "dose_meq_per_litre": whole.dose,
        "at_once_ph": whole.at_once.ph,
        "aired_ph": whole.after_air.ph,
        "aired_low": low,
        "aired_high": high,
        "freed_co2_mg": whole.freed_co2,
        "days": [
            {
                "millilitres": acids.millilitres(dose=d.dose, litres=volume, normal=normal),
                "before_ph": d.before.ph,
                "at_once_ph": d.at_once.ph,
                "aired_ph": d.after_air.ph,
            }
            for d in days
        ],
        "order": acids.ORDER_OF_WORK,
    }
    tell(data, lines, json=json, cautions=acids.cautions([whole]))


def _by_days(
    days: Sequence[AcidDose], litres: float, normal: float, per_day: float | None, total: float
) -> list[str]:
    if per_day is None:
        return [f"Give {total / 2.0:.0f} mL, air for a day, read KH and pH, then the rest."]
    rows = [("day", "acid", "pH before", "stirred in", "next day")]
    rows += [
        (
            str(number),
            f"{acids.millilitres(dose=day.dose, litres=litres, normal=normal):.1f} mL",
            f"{day.before.ph:.2f}",
            f"{day.at_once.ph:.2f}",
            f"{day.after_air.ph:.2f}",
        )
        for number, day in enumerate(days, start=1)
    ]
    count = f"{len(days)} days" if len(days) > 1 else "1 day"
    return [f"At most {per_day:g} pH a day: {count}.", "", *table(rows, right=(0, 1, 2, 3, 4))]


@answering
def titrate(
    step: Annotated[
        list[str],
        typer.Option("--step", help="One bench step, mL:pH, e.g. 2:6.90; the first is 0 mL."),
    ],
    ph: Annotated[float, typer.Option("--ph", help="The pH wanted.")],
    litres: Annotated[float, typer.Option("--litres", help="Litres of the tank or vat.")],
    json: Json = False,
) -> None:
    """Turn a bench series in one litre, leaf or peat extract against pH, into a dose.

    Exit status: 0 done, 2 the series does not bear a dose.
    """
    steps = []
    for text in step:
        ml, _, read = text.partition(":")
        try:
            steps.append(BenchStep(ml=float(ml), ph=float(read)))
        except ValueError:
            raise RefusedError(f"--step {text!r}: write mL:pH, such as 2:6.90.") from None
    found = titration.dose(steps, ph=ph, litres=litres)
    lines = [
        (
            f"{found.per_litre:.2f} mL/L ({found.low:.2f} to {found.high:.2f}, pH read to 0.05): "
            f"{found.total:.0f} mL for {litres:g} L."
        ),
        (
            f"Give {found.first_half:.0f} mL today, wait a day, measure, then the rest within the "
            "day's pH limit."
        ),
        "",
        "How the series is made",
        *(f"  {i}. {text}" for i, text in enumerate(titration.BENCH_STEPS, start=1)),
    ]
    tell(found, lines, json=json, cautions=found.cautions)
