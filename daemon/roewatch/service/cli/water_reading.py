"""`roewatch water ammonia`, `oxygen`, `dioxide`: what a reading means."""

from typing import Annotated

import typer

from roewatch.room.stage import Stage
from roewatch.service.cli.water_given import Json, answering, spread, tell
from roewatch.water import ammonia as ammonias
from roewatch.water import carbonate
from roewatch.water import dioxide as dioxides
from roewatch.water import nitrite as nitrites
from roewatch.water import oxygen as oxygens
from roewatch.water.ammonia import NH4_PER_N
from roewatch.water.refusal import RefusedError

_T = typer.Option("--t", help="Water temperature, °C.")
_PH = typer.Option("--ph", help="pH of the water.")


@answering
def ammonia(  # noqa: PLR0913, PLR0917 - the options of a command
    total: Annotated[float, typer.Option("--total", help="Total ammonia, mg/L.")],
    ph: Annotated[float, _PH],
    t: Annotated[float, _T],
    counted: Annotated[
        str, typer.Option("--as", help="What the kit counts in: N (nitrogen) or NH4.")
    ] = "N",
    stage: Annotated[Stage, typer.Option("--stage", help="What the tank is in.")] = Stage.HOLDING,
    ph_after: Annotated[
        float | None, typer.Option("--ph-after", help="pH after a planned change.")
    ] = None,
    t_after: Annotated[
        float | None, typer.Option("--t-after", help="°C after a planned change.")
    ] = None,
    nitrite: Annotated[
        float | None, typer.Option("--nitrite", help="Also nitrite, mg/L as NO2.")
    ] = None,
    json: Json = False,
) -> None:
    """Un-ionised ammonia now, and after a planned change of pH, against the stage's limit.

    Exit status: 0 within the limit, 1 above it, 2 could not run.
    """
    if counted not in {"N", "NH4"}:
        raise RefusedError(f"--as {counted!r}: use N or NH4, as the kit's card says.")
    total_n = total / NH4_PER_N if counted == "NH4" else total
    found = ammonias.judge(
        total_n=total_n, ph=ph, celsius=t, stage=stage, ph_after=ph_after, celsius_after=t_after
    )
    low, high = _either_way(total_n, ph, t)
    lines = [f"now     {_mg(found.nh3)} mg/L NH3 ({_mg(low)} to {_mg(high)} with pH off by 0.1)"]
    if found.after_nh3 is not None and found.times is not None:
        low, top = _either_way(
            total_n, ph if ph_after is None else ph_after, t if t_after is None else t_after
        )
        lines.append(
            f"after   {_mg(found.after_nh3)} mg/L NH3 ({_mg(low)} to {_mg(top)}), "
            f"{found.times:.1f} times as much"
        )
        high = max(high, top)
    lines.append(f"limit   {found.limit.nh3:g} mg/L NH3 for {stage} ({found.limit.source})")
    cautions = found.cautions
    if nitrite is not None:
        cautions += nitrites.cautions(nitrite=nitrite, ph=ph)
    # never rounded towards danger: a limit that may be passed counts as passed
    passed = found.over or high > found.limit.nh3
    if passed:
        lines += ["", "Above the limit." if found.over else "With pH off by 0.1, above the limit."]
    tell(
        {"nh3": found.nh3, "after_nh3": found.after_nh3, "times": found.times, "high": high,
         "limit": found.limit, "over": passed},
        lines,
        json=json,
        cautions=cautions,
    )  # fmt: skip
    if passed:
        raise typer.Exit(1)


def _either_way(total_n: float, ph: float, celsius: float) -> tuple[float, float]:
    """NH3, mg/L, with pH read 0.1 too high and too low."""
    low, high = (
        ammonias.NH3_PER_N * ammonias.unionised_n(total_n=total_n, ph=ph + off, celsius=celsius)
        for off in (-0.1, 0.1)
    )
    return low, high


def _mg(value: float) -> str:
    return f"{value:.4f}" if value < 0.01 else f"{value:.3f}"


@answering
def oxygen(
    t: Annotated[float, _T],
    mg: Annotated[
        float | None, typer.Option("--mg", help="Oxygen read, mg/L.", show_default=False)
    ] = None,
    altitude: Annotated[float, typer.Option("--altitude", help="Metres above the sea.")] = 0.0,
    sea_level: Annotated[
        float, typer.Option("--sea-level", help="Pressure as forecasts give it, hPa.")
    ] = oxygens.ATM_HPA,
    station: Annotated[
        float | None,
        typer.Option("--station", help="Or: pressure read where the tank stands, hPa."),
    ] = None,
    us: Annotated[float, typer.Option("--us", help="Conductivity, µS/cm at 25 °C.")] = 0.0,
    json: Json = False,
) -> None:
    """How much oxygen the water can hold, and how full it is.

    Exit status: 0 done, 1 too low or too high, 2 could not run.
    """
    pressure = (
        station
        if station is not None
        else oxygens.station_pressure(sea_level_hpa=sea_level, altitude_m=altitude)
    )
    salinity = oxygens.salinity_of_conductivity(us)
    full = oxygens.saturation(celsius=t, pressure_hpa=pressure, salinity=salinity)
    lines = [f"full at {full:.2f} mg/L ({t:g} °C, {pressure:.0f} hPa where the tank stands)"]
    data = {"saturation_mg": full, "station_hpa": pressure, "percent": None}
    cautions: tuple[str, ...] = ()
    if mg is not None:
        percent = oxygens.percent(oxygen=mg, celsius=t, pressure_hpa=pressure, salinity=salinity)
        data["percent"] = percent
        cautions = oxygens.cautions(percent)
        lines.append(f"{mg:g} mg/L is {percent:.0f} % full")
    tell(data, lines, json=json, cautions=cautions)
    if cautions:
        raise typer.Exit(1)


@answering
def dioxide(
    ph: Annotated[float, _PH],
    kh: Annotated[float, typer.Option("--kh", help="Carbonate hardness, °dKH.")],
    t: Annotated[float, _T],
    gh: Annotated[float, typer.Option("--gh", help="General hardness, °dGH.")] = 0.0,
    tannin: Annotated[
        bool, typer.Option("--tannin", help="Leaves, cones, peat or wood colour the water.")
    ] = False,
    phosphate: Annotated[
        bool, typer.Option("--phosphate", help="Phosphate buffer or fertiliser is in it.")
    ] = False,
    json: Json = False,
) -> None:
    """CO2 from pH and KH, where that sum can be trusted at all.

    Exit status: 0 done, 1 harmful, 2 refused: the sum would mislead.
    """
    found = dioxides.from_kh(ph=ph, dkh=kh, celsius=t, dgh=gh, tannin=tannin, phosphate=phosphate)
    lines = [
        (
            f"{spread(found.low, found.mg, found.high, digits=1)} mg/L CO2, with pH off by 0.1 "
            "and KH by 5 % + 0.1"
        ),
        f"about {found.pco2 / carbonate.ROOM_UATM:.1f} times what water holds at rest in room air",
    ]
    tell(found, lines, json=json, cautions=found.cautions)
    if found.mg > dioxides.HARMFUL_MG:
        raise typer.Exit(1)
