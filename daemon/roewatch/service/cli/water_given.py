"""Waters, bands and steps as a keeper types them, and answers as a keeper reads them."""

import json as jsonlib
import os
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, is_dataclass
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, NoReturn, ParamSpec

import typer

from roewatch.room.window import Window
from roewatch.service.settings.load import load_setup
from roewatch.service.settings.waters import StandingWater
from roewatch.water import carbonate
from roewatch.water.hardness import meq_of_dkh
from roewatch.water.refusal import RefusedError
from roewatch.water.source import Precision, SourceWater

Json = Annotated[bool, typer.Option("--json", help="The answer as one JSON object.")]
Room = Annotated[
    float, typer.Option("--co2", help="CO2 of the room's air, µatm; rooms commonly hold 600-1000.")
]
Celsius = Annotated[float | None, typer.Option("--t", help="°C the water will be kept at.")]

WATER_HELP = (
    'A water, as "NAME litres=.. kh=.. gh=.. us=.. ph=.. t=..": kh in °dKH (or alk=.. in meq/L), '
    "gh in °dGH, us in µS/cm at 25 °C, t in °C. Leave ph out of rain or other water that stood in "
    "air and give co2=.. in µatm (420 outdoors). Add the word mains for tap water. With --room, "
    "numbers not typed are those of the water entry of that name."
)
_KEYS = ("litres", "ph", "kh", "alk", "gh", "us", "t", "co2", "kh_drop")

P = ParamSpec("P")


def answering(command: Callable[P, None]) -> Callable[P, None]:
    """A command whose refusals are told in a sentence, exit status 2, never a traceback."""

    @wraps(command)
    def told(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except RefusedError as refused:
            refuse(str(refused), json=bool(kwargs.get("json")), status=2)

    return told


def refuse(reason: str, *, json: bool, status: int, **more: Any) -> NoReturn:
    """Say why not and end: status 1 when the answer is no, 2 when it cannot be given."""
    if json:
        print(jsonlib.dumps({"refused": reason, **_plain(more)}, ensure_ascii=False))
    print(f"refused: {reason}", file=sys.stderr)
    raise typer.Exit(status)


def numbers_of(text: str, known: Sequence[str]) -> tuple[str, dict[str, float], set[str]]:
    """(leading words, key=number pairs, bare words after the first pair) of one typed thing.

    Raises RefusedError naming the key that is unknown or the number that is none.
    """
    if comma := re.search(r"\d,\d", text):
        raise RefusedError(
            f"{text!r}: {comma[0]} is read as two things. Write a point: "
            f"{comma[0].replace(',', '.')}."
        )
    name: list[str] = []
    numbers: dict[str, float] = {}
    flags: set[str] = set()
    for word in text.replace(",", " ").split():
        if "=" not in word:
            if numbers or word == "mains":
                flags.add(word)
            else:
                name.append(word)
            continue
        key, _, value = word.partition("=")
        if key not in known:
            raise RefusedError(f"{text!r}: {key!r} is unknown; use {', '.join(known)}.")
        try:
            numbers[key] = float(value)
        except ValueError:
            raise RefusedError(
                f"{text!r}: {key}={value} is no number. Write it with a point: {key}=0.5."
            ) from None
    return " ".join(name), numbers, flags


Waters = Mapping[str, StandingWater]


def waters_of(room: Path | None) -> Waters:
    """The source waters of the room file by name in lower case; none without a file.

    Raises SettingsError for a room file with faults.
    """
    if room is None:
        return {}
    return {name.casefold(): w for name, w in load_setup(room, os.environ).waters.items()}


def water_of(text: str, waters: Waters | None = None) -> tuple[float | None, SourceWater]:
    """(litres or None, source water) of one typed water. Raises RefusedError.

    waters: as `waters_of`; what is not typed is taken from the one of that name.
    """
    name, given, flags = numbers_of(text, _KEYS)
    standing = (waters or {}).get(name.casefold())
    if standing is not None:
        given = _filled(name, given, standing)
        flags |= {"mains"} if standing.source.mains else set()
    unknown = flags - {"mains"}
    if unknown or not name:
        raise RefusedError(f"{text!r}: begin with a name, then key=number pairs. {WATER_HELP}")
    if ("kh" in given) == ("alk" in given):
        there = (
            f" The room has {', '.join(w.source.name for w in waters.values())}." if waters else ""
        )
        raise RefusedError(f"{name}: give its kh (°dKH) or its alk (meq/L), one of the two.{there}")
    alkalinity = given["alk"] if "alk" in given else meq_of_dkh(given["kh"])
    precision = Precision()
    if "kh_drop" in given:
        # a drop that did or did not turn the colour: half a drop either way
        precision = Precision(alkalinity_share=0.0, alkalinity=meq_of_dkh(given["kh_drop"] / 2.0))
    return given.get("litres"), SourceWater(
        name=name,
        celsius=given.get("t", 20.0),
        alkalinity=alkalinity,
        ph=given.get("ph"),
        pco2=given.get("co2", carbonate.OUTDOOR_UATM),
        dgh=given.get("gh", 0.0),
        conductivity=given.get("us"),
        mains="mains" in flags or name.split()[0].lower() == "tap",
        precision=precision,
    )


def _filled(name: str, given: dict[str, float], standing: StandingWater) -> dict[str, float]:
    """What was typed, and for the rest what the room knows of that water."""
    if standing.litres is not None and given.get("litres", 0.0) > standing.litres:
        raise RefusedError(f"{name}: {given['litres']:g} L asked, {standing.litres:g} L are there.")
    source = standing.source
    known = {"alk": source.alkalinity, "gh": source.dgh, "t": source.celsius}
    if source.ph is not None and "co2" not in given:
        known["ph"] = source.ph
    if source.conductivity is not None:
        known["us"] = source.conductivity
    if "kh" in given:
        del known["alk"]
    if standing.measured is not None and not known.keys() <= given.keys():
        print(f"{name}: as measured on {standing.measured.isoformat()}", file=sys.stderr)
    return known | given


def poured_of(
    texts: Iterable[str], waters: Waters | None = None
) -> list[tuple[float, SourceWater]]:
    """Waters that all need litres; `waters` as in `water_of`. Raises RefusedError."""
    parts = []
    for text in texts:
        litres, water = water_of(text, waters)
        if litres is None:
            raise RefusedError(f"{water.name}: how much of it? Add litres=10.")
        parts.append((litres, water))
    return parts


def band_of(text: str, *, name: str, half: float) -> Window:
    """`5.8..6.2`, `..80`, `3..` or `6.0` (either way by `half`). Raises RefusedError."""
    try:
        if ".." not in text:
            middle = float(text)
            return Window(low=middle - half, high=middle + half)
        low, _, high = text.partition("..")
        return Window(low=float(low) if low else None, high=float(high) if high else None)
    except ValueError as wrong:
        raise RefusedError(
            f"{name}={text} is no band: {wrong}. Write 5.8..6.2, ..80 or 6.0."
        ) from None


def tell(data: Any, lines: Iterable[str], *, json: bool, cautions: Sequence[str] = ()) -> None:
    """The answer to stdout: one JSON object, or lines for people and then what to mind."""
    if json:
        print(jsonlib.dumps({**_plain(data), "cautions": list(cautions)}, ensure_ascii=False))
        return
    for line in lines:
        print(line)
    if cautions:
        print("\nMind")
        for caution in cautions:
            print(f"  - {caution}")


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return _plain(value._asdict())
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return round(value, 5)
    return value


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> list[str]:
    """Rows as aligned lines; columns in `right` to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(widths[i]) if i in right else cell.ljust(widths[i])
            for i, cell in enumerate(row)
        ]
        lines.append("  " + "  ".join(cells).rstrip())
    return lines


def spread(low: float, value: float, high: float, *, digits: int) -> str:
    """`7.55 (7.3 to 7.8)`; the value keeps no more digits than the range bears out."""
    kept = digits if high - low < 30 * 10.0**-digits else max(digits - 1, 0)
    # a rounded range is widened, never narrowed
    step = 10.0**-kept
    low_text = f"{_down(low, step):.{kept}f}"
    high_text = f"{-_down(-high, step):.{kept}f}"
    return f"{value:.{kept}f} ({low_text} to {high_text})"


def _down(value: float, step: float) -> float:
    return step * float((value + 1e-9 * step) // step)
