"""A quantity: what a probe measures, and the one unit it is kept in."""

from dataclasses import dataclass
from enum import StrEnum

from roewatch.room.measured import apart, measured
from roewatch.room.window import Window


class Quantity(StrEnum):
    """What can be measured. The text value is what settings, topics and files write."""

    TEMPERATURE = "temperature"
    PH = "ph"
    CONDUCTIVITY = "conductivity"
    OXYGEN = "oxygen"
    LEVEL = "level"
    FLOW = "flow"
    LIGHT = "light"
    HUMIDITY = "humidity"
    AMMONIA_TOTAL = "ammonia_total"
    POWER = "power"
    AMMONIA_FREE = "ammonia_free"
    OXYGEN_PERCENT = "oxygen_percent"
    DIOXIDE = "dioxide"


DERIVED = frozenset({Quantity.AMMONIA_FREE, Quantity.OXYGEN_PERCENT, Quantity.DIOXIDE})
"""Quantities that are worked out from others where no probe measures them."""


@dataclass(frozen=True, slots=True)
class Kept:
    """How one quantity is kept and shown.

    unit: the kept unit as shown; digits: decimals shown to people.
    """

    unit: str
    digits: int
    name: str


KEPT: dict[Quantity, Kept] = {
    Quantity.TEMPERATURE: Kept("°C", 1, "temperature"),
    Quantity.PH: Kept("", 2, "pH"),
    Quantity.CONDUCTIVITY: Kept("µS/cm", 0, "conductivity"),  # at 25 °C
    Quantity.OXYGEN: Kept("mg/L", 1, "oxygen"),
    Quantity.LEVEL: Kept("mm", 0, "level"),
    Quantity.FLOW: Kept("L/h", 0, "flow"),
    Quantity.LIGHT: Kept("lx", 0, "light"),
    Quantity.HUMIDITY: Kept("%", 0, "humidity"),
    Quantity.AMMONIA_TOTAL: Kept("mg/L N", 2, "total ammonia"),
    Quantity.POWER: Kept("W", 0, "power"),
    Quantity.AMMONIA_FREE: Kept("mg/L NH3", 3, "un-ionised ammonia"),
    Quantity.OXYGEN_PERCENT: Kept("%", 0, "oxygen saturation"),
    Quantity.DIOXIDE: Kept("mg/L", 1, "carbon dioxide"),
}

# factor and offset: kept = given * factor + offset
_UNITS: dict[Quantity, dict[str, tuple[float, float]]] = {
    Quantity.TEMPERATURE: {"c": (1, 0), "f": (5 / 9, -160 / 9), "k": (1, -273.15)},
    Quantity.PH: {"": (1, 0), "ph": (1, 0)},
    Quantity.CONDUCTIVITY: {
        "us/cm": (1, 0), "ms/cm": (1000, 0), "s/m": (10_000, 0), "ms/m": (10, 0), "us/m": (0.01, 0),
    },
    Quantity.OXYGEN: {"mg/l": (1, 0), "ppm": (1, 0)},
    Quantity.LEVEL: {"mm": (1, 0), "cm": (10, 0), "m": (1000, 0)},
    Quantity.FLOW: {"l/h": (1, 0), "l/min": (60, 0), "l/s": (3600, 0), "m3/s": (3_600_000, 0)},
    Quantity.LIGHT: {"lx": (1, 0), "lux": (1, 0)},
    Quantity.HUMIDITY: {"%": (1, 0), "%rh": (1, 0), "/": (100, 0)},
    Quantity.AMMONIA_TOTAL: {"mg/l n": (1, 0), "mg/l": (1, 0), "mg/l nh4": (1 / 1.2878, 0)},
    Quantity.POWER: {"w": (1, 0), "kw": (1000, 0), "mw": (0.001, 0)},
    Quantity.AMMONIA_FREE: {"mg/l nh3": (1, 0), "mg/l": (1, 0), "mg/l n": (1.2159, 0)},
    Quantity.OXYGEN_PERCENT: {"%": (1, 0), "/": (100, 0)},
    Quantity.DIOXIDE: {"mg/l": (1, 0), "ppm": (1, 0)},
}  # fmt: skip


def _folded(unit: str) -> str:
    plain = unit.strip().replace("µ", "u").replace("μ", "u").replace("°", "").replace("³", "3")
    return {"cel": "c", "celsius": "c", "far": "f", "fahrenheit": "f", "kelvin": "k"}.get(
        plain.lower(), plain.lower()
    )


def known_units(quantity: Quantity) -> tuple[str, ...]:
    """The units `to_kept` takes for `quantity`, folded to lower case."""
    return tuple(_UNITS[quantity])


def conversion(quantity: Quantity, unit: str) -> tuple[float, float]:
    """(factor, offset) that turn a number in `unit` into the kept unit.

    `unit` may be empty, meaning the kept unit; case, `°` and `µ`/`u` do not matter, and
    the SenML names `Cel` and `K` are known. Conductivity is only rescaled here: whether it
    is already compensated to 25 °C is the probe's own setting.
    Raises ValueError for a unit that does not measure `quantity`.
    """
    if not unit.strip():
        return (1.0, 0.0)
    found = _UNITS[quantity].get(_folded(unit))
    if found is None:
        known = ", ".join(sorted(u for u in _UNITS[quantity] if u)) or "no unit"
        raise ValueError(f"{unit!r} does not measure {quantity}; use one of: {known}")
    return found


def to_kept(quantity: Quantity, value: float, unit: str) -> float:
    """`value` in the quantity's kept unit. Raises ValueError for a unit that does not fit."""
    factor, offset = conversion(quantity, unit)
    return value * factor + offset


def shown(quantity: Quantity, value: float) -> str:
    """A value for people, with its unit: `26.4 °C`, `pH 5.31`, `48 µS/cm`."""
    kept = KEPT[quantity]
    if quantity is Quantity.PH:
        return f"pH {value:.{kept.digits}f}"
    return measured(f"{value:.{kept.digits}f}", kept.unit)


def shown_difference(quantity: Quantity, value: float, *, sign: str = "") -> str:
    """A difference of two values: `0.3 °C`, `0.25` of pH. sign: `+` where rising is told so."""
    kept = KEPT[quantity]
    return apart(f"{value:{sign}.{kept.digits}f}", kept.unit)


def shown_window(quantity: Quantity, window: Window) -> str:
    """A window with its unit: `24.0-27.0 °C`, `at most 27.0 °C`, `5.00-6.00`."""
    return window_with_unit(quantity, window.text(KEPT[quantity].digits))


def window_with_unit(quantity: Quantity, text: str) -> str:
    """The same of a window that is kept as the text `Window.text` wrote."""
    return measured(text, KEPT[quantity].unit)
