"""A guess: what a number most likely measures and on which tank, from the words around it."""

import re
from collections.abc import Collection, Iterable

from roewatch.room.quantity import Quantity, conversion

# The words sensors and their programs are named with. A word ending in * may go on. What is
# worked out from other probes is never guessed: a keeper who measures it writes so.
_WORDS: dict[Quantity, tuple[str, ...]] = {
    Quantity.TEMPERATURE: ("temp*", "celsius", "fahrenheit", "tempc", "tempf", "ds18b20"),
    Quantity.PH: ("ph", "phvalue", "phlevel"),
    Quantity.CONDUCTIVITY: ("ec", "conductiv*", "conductance", "us", "microsiemens"),
    Quantity.OXYGEN: ("do", "oxygen", "o2", "do2", "dissolvedoxygen"),
    Quantity.LEVEL: ("level", "waterlevel", "depth"),
    Quantity.FLOW: ("flow*",),
    Quantity.LIGHT: ("lux", "light", "illumin*"),
    Quantity.HUMIDITY: ("humid*", "rh", "hum"),
    Quantity.AMMONIA_TOTAL: ("ammonia*", "tan", "nh4", "nh3nh4"),
    Quantity.POWER: ("power", "watt", "watts"),
}
_ONE_WIRE = re.compile(r"28[-.]?[0-9a-f]{12}", re.IGNORECASE)
"""A 1-Wire address of family 28 hex: that family is a thermometer (DS18B20)."""

_PARTS = re.compile(r"[^0-9a-z]+")
_TANK_LIKE = re.compile(r"[a-z]{1,2}\d{1,3}", re.IGNORECASE)
_TANK_WORDS = re.compile(r"^(?:tank|aquarium|aq)[-_ ]?|[-_ ]", re.IGNORECASE)


def quantity_of(unit: str, words: Iterable[str]) -> Quantity | None:
    """The quantity `unit` and `words` point to, nearest word first; None if they do not.

    A unit that measures one quantity only decides; else the words do, among those it fits.
    """
    fitting = _fitting(unit) if unit.strip() else set(_WORDS)
    if len(fitting) == 1:
        return next(iter(fitting))
    for word in words:
        if _ONE_WIRE.search(word) and Quantity.TEMPERATURE in fitting:
            return Quantity.TEMPERATURE
        found = {quantity for quantity in fitting if _speaks_of(word, quantity)}
        if len(found) == 1:
            return next(iter(found))
    return None


def _fitting(unit: str) -> set[Quantity]:
    fitting = set()
    for quantity in _WORDS:
        try:
            conversion(quantity, unit)
        except ValueError:
            continue
        fitting.add(quantity)
    return fitting


def _speaks_of(word: str, quantity: Quantity) -> bool:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", word).lower()
    parts = [part for part in _PARTS.split(spaced) if part]
    whole = "".join(parts)
    for known in _WORDS[quantity]:
        if known.endswith("*") and any(part.startswith(known[:-1]) for part in parts):
            return True
        if known in parts or known == whole:
            return True
    return False


def tank_of(words: Iterable[str], tanks: Collection[str]) -> str:
    """The tank the words name; empty if none.

    tanks: the ids the settings have, compared without case and without `tank-` before them. When
    there are none, the first word that looks like an id on a shelf (`a1`, `B12`).
    """
    several = list(words)
    if not tanks:
        looks = [word for word in several if _TANK_LIKE.fullmatch(_bare(word))]
        return _bare(looks[0]).upper() if looks else ""
    by_name = {_bare(tank).casefold(): tank for tank in tanks}
    for word in several:
        found = by_name.get(_bare(word).casefold())
        if found is not None:
            return found
    return ""


def _bare(word: str) -> str:
    return _TANK_WORDS.sub("", word)
