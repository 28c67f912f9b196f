"""`roewatch water hardness`, `conductivity`, `change`, `topup`, `brine`, `electrode`."""

from typing import Annotated

import typer

from roewatch.service.cli.water_given import Json, answering, table, tell
from roewatch.water import brine as brines
from roewatch.water import buffer as buffers
from roewatch.water import change as changes
from roewatch.water import conductivity as conductivities
from roewatch.water import electrode as electrodes
from roewatch.water import hardness as hardnesses
from roewatch.water.buffer import Buffer
from roewatch.water.conductivity import Salt
from roewatch.water.electrode import BufferReading, Verdict
from roewatch.water.hardness import Degree
from roewatch.water.refusal import RefusedError

_T = typer.Option("--t", help="Water temperature, °C.")
_PH = typer.Option("--ph", help="pH of the water.")


@answering
def hardness(
    value: Annotated[float | None, typer.Argument(help="What the kit or report says.")] = None,
    given: Annotated[
        Degree, typer.Option("--in", help="Its unit. ppm is not one: find out of what.")
    ] = Degree.GERMAN,
    ca: Annotated[float | None, typer.Option("--ca", help="Or: calcium, mg/L.")] = None,
    mg: Annotated[float, typer.Option("--mg", help="With --ca: magnesium, mg/L.")] = 0.0,
    json: Json = False,
) -> None:
    """One hardness or alkalinity in every unit.

    Exit status: 0 done, 2 could not run.
    """
    if (value is None) == (ca is None):
        raise RefusedError("give a value, or --ca (and --mg) from a water report.")
    if ca is not None:
        value, given = hardnesses.dgh_of_metals(calcium=ca, magnesium=mg), Degree.GERMAN
    assert value is not None
    answers = {unit.value: hardnesses.converted(value, given, unit) for unit in Degree}
    dgh = answers[Degree.GERMAN.value]
    answers |= {
        "mg/L Ca, if all calcium": hardnesses.calcium_of_dgh(dgh),
        "mg/L Mg, if all magnesium": hardnesses.magnesium_of_dgh(dgh),
        "mg/L HCO3, if an alkalinity": hardnesses.bicarbonate_of_dkh(dgh),
    }
    said = {Degree.MMOL.value: "mmol/L of Ca + Mg", Degree.MEQ.value: "meq/L of alkalinity"}
    rows = [
        (f"{number:.1f}" if number >= 10.0 else f"{number:.2f}", said.get(unit, unit))
        for unit, number in answers.items()
    ]
    cautions = (
        "A degree of GH is 0.178 mmol/L of calcium and magnesium, a degree of KH 0.357 meq/L.",
        "KH above GH is no error: softened water has it.",
    )
    tell(answers, table(rows, right=(0,)), json=json, cautions=cautions)


@answering
def conductivity(
    value: Annotated[float, typer.Argument(help="What the meter shows, µS/cm.")],
    t: Annotated[
        float | None,
        typer.Option("--t", help="°C of the water, when the meter does not compensate."),
    ] = None,
    at: Annotated[
        float | None,
        typer.Option("--at", help="Or turned round: show a 25 °C value as raw at this °C."),
    ] = None,
    json: Json = False,
) -> None:
    """Conductivity at 25 °C (ISO 7888), and what a TDS pen would make of it.

    Exit status: 0 done, 2 could not run.
    """
    if at is not None:
        raw = conductivities.raw_at(conductivity=value, celsius=at)
        tell({"raw": raw}, [f"{raw:.1f} µS/cm raw at {at:g} °C"], json=json)
        return
    kept = conductivities.at_25(raw=value, celsius=t) if t is not None else value
    lines = [f"{kept:.1f} µS/cm at 25 °C"]
    data: dict[str, float] = {"conductivity_25": kept}
    if 10.0 <= kept <= 3000.0:
        for salt in Salt:
            data[f"tds_{salt}"] = conductivities.solids(conductivity=kept, salt=salt)
        lines.append(
            "a TDS pen would show "
            + ", ".join(f"{data[f'tds_{salt}']:.0f} mg/L set to {salt}" for salt in Salt)
            + "; none of them is a measurement"
        )
    cautions = []
    if t is not None:
        cautions.append(
            "Many meters compensate by themselves. If yours does, leave --t out: doing it twice "
            "adds 2 % for every degree."
        )
    if kept < 60.0:
        cautions.append("Below 60 µS/cm the natural-water factor is an estimate.")
    tell(data, lines, json=json, cautions=cautions)


@answering
def change(
    now: Annotated[float, typer.Option("--now", help="The value now, in any one unit.")],
    source: Annotated[float, typer.Option("--source", help="The same of the new water.")],
    percent: Annotated[float, typer.Option("--percent", help="Per cent of the tank a time.")],
    times: Annotated[int, typer.Option("--times", help="How many changes.")] = 1,
    wanted: Annotated[
        float | None, typer.Option("--wanted", help="Or: the value to reach.")
    ] = None,
    gain: Annotated[
        float | None, typer.Option("--gain", help="What the tank gains between two changes.")
    ] = None,
    json: Json = False,
) -> None:
    """Water changes on a value that mixes: hardness, KH, nitrate, conductivity. Never pH.

    Exit status: 0 done, 2 could not run.
    """
    fraction = percent / 100.0
    if wanted is not None:
        times = changes.changes_needed(now=now, source=source, wanted=wanted, fraction=fraction)
    values = [
        changes.after_changes(now=now, source=source, fraction=fraction, times=n)
        for n in range(times + 1)
    ]
    rows = [("change", "value")] + [(str(n), f"{v:.2f}") for n, v in enumerate(values)]
    lines = table(rows, right=(0, 1))
    data: dict[str, object] = {"times": times, "values": values}
    if gain is not None:
        after, before = changes.steady_state(source=source, gain=gain, fraction=fraction)
        data |= {"steady_after": after, "steady_before": before}
        lines += ["", f"kept up, it settles at {before:.1f} before and {after:.1f} after a change"]
    cautions = (
        "pH does not mix like this: use `roewatch water ramp`, which also keeps to the limits.",
    )
    tell(data, lines, json=json, cautions=cautions)


@answering
def topup(
    litres: Annotated[float, typer.Option("--litres", help="Litres of the full tank.")],
    lost: Annotated[float, typer.Option("--lost", help="Litres evaporated.")],
    now: Annotated[float, typer.Option("--now", help="The value when it was full.")],
    source: Annotated[
        float, typer.Option("--source", help="The same of the top-up water; rain or RO near 0.")
    ] = 0.0,
    days: Annotated[float, typer.Option("--days", help="Days in which it was lost.")] = 1.0,
    json: Json = False,
) -> None:
    """What evaporation makes of a value, and what topping up does.

    Exit status: 0 done, 2 could not run.
    """
    if days <= 0.0:
        raise RefusedError("--days must be above nought.")
    dry = changes.concentrated(now=now, litres=litres, lost=lost)
    full = changes.after_changes(now=dry, source=source, fraction=lost / litres)
    creep = changes.creep_per_day(top_up=source, lost_per_day=lost / days, litres=litres)
    lines = [
        f"{now:g} has become {dry:.1f} with {lost:g} L gone",
        f"topped up with water of {source:g} it is {full:.1f}",
        f"topping up so for ever adds {creep:.2f} a day until a water change",
    ]
    cautions = ("Top up with rain or RO: then it only comes back to where it was.",)
    tell(
        {"low_tank": dry, "topped_up": full, "creep_per_day": creep},
        lines,
        json=json,
        cautions=cautions if source > 0.05 * now else (),
    )


@answering
def brine(
    litres: Annotated[float, typer.Option("--litres", help="Litres of the jar.")],
    salt: Annotated[float, typer.Option("--salt", help="Salt, g/L.")] = 25.0,
    t: Annotated[float, _T] = 27.0,
    cysts: Annotated[float, typer.Option("--cysts", help="Cysts, g/L.")] = 2.0,
    json: Json = False,
) -> None:
    """An Artemia hatching jar: salt, cysts, bicarbonate and the oxygen it can hold.

    Exit status: 0 done, 2 could not run.
    """
    found = brines.of_jar(litres=litres, salt_per_litre=salt, celsius=t, cysts_per_litre=cysts)
    soda = f", {found.bicarbonate:.1f} g of bicarbonate" if found.bicarbonate else ""
    lines = [f"{found.salt:.0f} g of salt, {found.cysts:.1f} g of cysts{soda} in {litres:g} L"]
    tell(found, lines, json=json, cautions=found.cautions)


@answering
def electrode(
    point: Annotated[
        list[str],
        typer.Option("--point", help='A buffer and what the probe gives in it: "technical 7.00=-5"'
                     " or 7.00=-5, in mV."),
    ],
    t: Annotated[float, typer.Option("--t", help="°C of the buffers.")],
    as_ph: Annotated[
        bool, typer.Option("--as-ph", help="The probe gives pH, not millivolts.")
    ] = False,
    json: Json = False,
) -> None:  # fmt: skip
    """Slope and offset of a pH electrode from two or three buffers, and what they say of it.

    Exit status: 0 good, 1 clean, check or replace it, 2 could not run.
    """
    readings, cautions = [], []
    for text in point:
        name, _, read = text.rpartition("=")
        ph, told = _buffer_ph(name.strip(), t)
        cautions += told
        try:
            value = float(read)
        except ValueError:
            raise RefusedError(f"--point {text!r}: write the buffer, = and a number.") from None
        mv = electrodes.millivolts_of(value, celsius=t) if as_ph else value
        readings.append(BufferReading(ph=ph, mv=mv))
    found = electrodes.fit(readings, celsius=t)
    slope, offset = found.line()
    lines = [
        "slope   " + " and ".join(f"{p:.1f} %" for p in found.slope_percent) + " of a perfect one",
        f"offset  {found.offset_mv:+.1f} mV ({abs(found.offset_ph):.2f} pH)",
        f"so      {found.verdict}" + "".join(f"; {reason}" for reason in found.reasons),
    ]
    if as_ph:
        lines.append(f"in room.toml: slope = {slope:.5f}, offset = {offset:.4f}")
    data = {
        "slope_percent": found.slope_percent,
        "offset_mv": found.offset_mv,
        "verdict": found.verdict.value,
        "reasons": found.reasons,
        "line": {"slope": slope, "offset": offset},
    }
    tell(data, lines, json=json, cautions=cautions)
    if found.verdict is not Verdict.GOOD:
        raise typer.Exit(1)


def _buffer_ph(name: str, celsius: float) -> tuple[float, list[str]]:
    for known in Buffer:
        if name == known.value:
            return buffers.ph_of(known, celsius), list(buffers.cautions(known))
    try:
        return float(name), []
    except ValueError:
        names = ", ".join(f"“{known.value}”" for known in Buffer)
        raise RefusedError(
            f"buffer {name!r} is unknown; give its pH at {celsius:g} °C, or one of {names}."
        ) from None
