"""`roewatch water ramp`: moving a tank without breaking a limit."""

import os
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from roewatch.breeding import ramp as ramps
from roewatch.breeding import warming
from roewatch.breeding.pace import Followed, Moment, Pace, WaterState, paces
from roewatch.breeding.ramp import Ramp, RampRefusedError, RampStep, RampWish
from roewatch.room.moment import iso, moment_of
from roewatch.room.stage import Stage
from roewatch.room.tank import Tank
from roewatch.room.window import Window
from roewatch.service.cli.options import RoomFile, moment_option
from roewatch.service.cli.water_given import (
    WATER_HELP,
    Json,
    Room,
    answering,
    band_of,
    numbers_of,
    poured_of,
    refuse,
    table,
    tell,
    water_of,
    waters_of,
)
from roewatch.service.settings.load import load_setup
from roewatch.water import carbonate
from roewatch.water.blend import Blend, pour
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater

_TARGETS = {
    "ph": (Followed.PH, 0.1),
    "us": (Followed.CONDUCTIVITY, 5.0),
    "gh": (Followed.HARDNESS, 0.3),
    "kh": (Followed.CARBONATE, 0.2),
}


@answering
def ramp(  # noqa: PLR0913, PLR0917 - the options of a command
    tank: Annotated[
        str, typer.Argument(help="The tank as measured. " + WATER_HELP, show_default=False)
    ],
    recipe: Annotated[
        list[str],
        typer.Option("--recipe", help="A water of the vat; give one or more, with litres."),
    ],
    target: Annotated[
        str | None,
        typer.Option("--target", help='Where to: "ph=5.8..6.2 us=..80 gh=..2 kh=..0.5".'),
    ] = None,
    t: Annotated[float | None, typer.Option("--t", help="°C at the end.")] = None,
    days: Annotated[int, typer.Option("--days", help="In so many days.")] = 14,
    first: Annotated[
        str | None,
        typer.Option("--from", help="The first change, ISO 8601 with a zone; else now."),
    ] = None,
    stage: Annotated[
        Stage, typer.Option("--stage", help="Whose limits hold, without --room.")
    ] = Stage.CONDITIONING,
    water_t: Annotated[
        float | None,
        typer.Option("--water-t", help="°C of the new water; else as warm as the tank."),
    ] = None,
    largest: Annotated[
        float, typer.Option("--largest", help="Largest change, per cent of the tank.")
    ] = 30.0,
    heater: Annotated[
        float | None, typer.Option("--heater", help="Heater, W, to check that it can.")
    ] = None,
    room_t: Annotated[float, typer.Option("--room-t", help="°C of the room's air.")] = 21.0,
    seen: Annotated[
        list[str] | None,
        typer.Option(
            "--seen",
            help='An earlier reading that counts against the limits: "2026-03-01T08:00Z ph=7.4 '
            't=24 us=120 gh=3 kh=1"; what is left out is taken as now.',
        ),
    ] = None,
    ph_swing: Annotated[
        float,
        typer.Option(
            "--ph-swing",
            help="How far pH moves by itself from night to day, as the probe shows; the plan "
            "leaves that much of the daily limit free.",
        ),
    ] = 0.0,
    room: RoomFile = None,
    co2: Room = carbonate.ROOM_UATM,
    json: Json = False,
) -> None:
    """Dated water changes from the tank as it is to the target, never breaking a limit.

    To plan again from what the probes show, run it again with the tank as it is now and, with
    --seen, what it was put through in the last days. With --room, litres, heater, stage and the
    species' own rate limits are those of the tank of that name.
    Exit status: 0 a safe plan, 1 no safe plan as asked (the shortest safe one is shown), 2 could
    not run.
    """
    litres, now = water_of(tank)
    kept, watts, covered = paces(stage), heater, True
    zone = ZoneInfo("UTC")
    if room is not None:
        known = _tank_of(room, now.name)
        litres = known[0].litres if litres is None else litres
        kept = paces(known[0].stage, known[0].rates)
        watts = known[0].heater_watts if heater is None else heater
        covered, zone = known[0].covered, ZoneInfo(known[1])
    if litres is None:
        raise RefusedError(f"{now.name}: how large is it? Add litres=54, or --room.")
    vat = pour(poured_of(recipe, waters_of(room)), pco2=co2, celsius=now.celsius)
    first_ms = moment_option(first) or _now_ms()
    wish = RampWish(
        tank=now.name,
        litres=litres,
        now=now,
        # the vat is aired before use; straight from mixing its CO2 would dip the tank's pH
        recipe=replace(vat.makeup, dic=vat.aired.dic),
        targets=_targets(target),
        celsius=t,
        water_celsius=water_t,
        paces=kept,
        first_ms=first_ms,
        seen=_seen(seen or [], now, first_ms),
        days=days,
        ph_swing=ph_swing,
        largest_change=largest / 100.0,
        pco2=co2,
        warmth=None
        if watts is None
        else warming.reckoned(litres=litres, watts=watts, room_celsius=room_t, covered=covered),
    )
    try:
        kept = tuple(wish.left_for_steps().paces)
        found = ramps.draw(wish)
    except RampRefusedError as refused:
        if refused.shortest is not None and not json:
            print("The shortest safe plan\n")
            _tell_ramp(refused.shortest, kept, zone, vat, json=False)
        shortest = None if refused.shortest is None else _data(refused.shortest)
        refuse(str(refused), json=json, status=1, shortest=shortest)
    _tell_ramp(found, kept, zone, vat, json=json)


def _seen(texts: list[str], now: SourceWater, first_ms: int) -> tuple[Moment, ...]:
    """Earlier readings in order of time. Raises RefusedError for one that is not before."""
    makeup = now.makeup
    found = []
    for text in texts:
        when, given, flags = numbers_of(text, ("ph", "t", "us", "gh", "kh"))
        at_ms = moment_option(when)
        if at_ms is None or flags or at_ms >= first_ms:
            raise RefusedError(
                f"--seen {text!r}: begin with a time before the first change, such as "
                "2026-03-01T08:00Z ph=7.4."
            )
        state = WaterState(
            ph=given.get("ph", makeup.closed().ph),
            conductivity=given.get("us", now.conductivity),
            dgh=given.get("gh", makeup.dgh),
            dkh=given.get("kh", makeup.dkh),
            celsius=given.get("t", now.celsius),
        )
        found.append(Moment(at_ms, state))
    return tuple(sorted(found))


def _now_ms() -> int:
    # the whole minute: nobody starts a water change at 18:03:27.412
    return int(time.time() // 60) * 60_000


def _tank_of(room: Path, name: str) -> tuple[Tank, str]:
    """The tank of that name and the room's time zone. Raises RefusedError, SettingsError."""
    setup = load_setup(room, os.environ)
    try:
        return setup.room.tank(name), setup.room.zone
    except KeyError as absent:
        raise RefusedError(str(absent.args[0])) from None


def _targets(text: str | None) -> dict[Followed, Window]:
    found = {}
    for word in (text or "").replace(",", " ").split():
        key, _, band = word.partition("=")
        if key not in _TARGETS:
            raise RefusedError(f"--target {word!r}: use {', '.join(_TARGETS)}, as ph=5.8..6.2.")
        followed, half = _TARGETS[key]
        found[followed] = band_of(band, name=key, half=half)
    return found


def _tell_ramp(
    found: Ramp, kept: tuple[Pace, ...], zone: ZoneInfo, vat: Blend, *, json: bool
) -> None:
    if not found.steps:
        tell(_data(found), ["The tank is at its target; nothing to change."], json=json)
        return
    rows: list[tuple[str, ...]] = [
        ("when", "change", "", "set to", "pH before", "just after", "aired", "µS/cm", "dKH")
    ]
    rows += [_row(step, zone) for step in found.steps]
    first, last = found.steps[0], found.steps[-1]
    lines = [
        f"{found.tank}: {_said(first.before)} to {_said(last.settled)} in {found.days} days",
        f"The vat: {_mix(vat)}, aired before use; {_litres(found):.0f} L in all",
        f"Times are {zone.key}",
        "",
        *table(rows, right=(1, 2, 3, 4, 5, 6, 7, 8)),
        "",
        "Kept throughout",
        *(f"  {pace.text()} ({_founded(pace)})" for pace in kept),
    ]
    tell(_data(found), lines, json=json, cautions=found.cautions)


def _litres(found: Ramp) -> float:
    return sum(step.litres for step in found.steps)


def _mix(vat: Blend) -> str:
    total = sum(vat.litres)
    return ", ".join(
        f"{100 * litres / total:.0f} % {source.name}"
        for litres, source in zip(vat.litres, vat.sources, strict=True)
    )


def _founded(pace: Pace) -> str:
    """How well a pace is founded, said once and in one sentence."""
    source = pace.source.split(". ")[0]
    if not source or source.startswith(pace.basis):
        return source or pace.basis
    return f"{pace.basis}: {source}"


def _row(step: RampStep, zone: ZoneInfo) -> tuple[str, ...]:
    us = step.settled.conductivity
    return (
        _local(step.at_ms, zone),
        f"{step.litres:.1f} L" if step.fraction else "none",
        f"{100 * step.fraction:.0f} %" if step.fraction else "",
        f"{step.thermostat:.1f} °C",
        f"{step.before.ph:.2f}",
        f"{step.just_after.ph:.2f}",
        f"{step.settled.ph:.2f}",
        "" if us is None else f"{us:.0f}",
        f"{step.settled.dkh:.2f}",
    )


def _local(at_ms: int, zone: ZoneInfo) -> str:
    local: datetime = moment_of(at_ms).astimezone(zone)
    return local.strftime("%a %d %b %H:%M")


def _said(state: WaterState) -> str:
    us = "" if state.conductivity is None else f", {state.conductivity:.0f} µS/cm"
    return f"pH {state.ph:.2f}, {state.celsius:.1f} °C{us}"


def _data(found: Ramp) -> dict[str, Any]:
    return {
        "tank": found.tank,
        "days": found.days,
        "steps": [
            {
                "at": iso(step.at_ms),
                "litres": step.litres,
                "fraction": step.fraction,
                "thermostat": step.thermostat,
                "before": step.before,
                "just_after": step.just_after,
                "settled": step.settled,
            }
            for step in found.steps
        ],
        "plans": [
            {
                "quantity": plan.quantity.value,
                "steps": [{"at": iso(s.at_ms), "value": s.value} for s in plan.steps],
            }
            for plan in found.plans()
        ],
    }
