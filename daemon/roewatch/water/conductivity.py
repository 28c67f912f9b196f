"""Conductivity: compensated to 25 °C, of standards, and what "TDS" means by it.

Kept as µS/cm at 25 °C. A meter never measures dissolved solids, so TDS is shown only with its salt.
"""

from enum import StrEnum

from roewatch.room.measured import CELSIUS, measured, temperature
from roewatch.water.carbonate import Balance
from roewatch.water.curve import read_between
from roewatch.water.ions import Ions
from roewatch.water.refusal import RefusedError, within


def factor_25(celsius: float) -> float:
    """What a raw reading of natural water is multiplied by to stand at 25 °C.

    Range 0-36 °C, meant for natural waters of about 60-1000 µS/cm.
    Source: ISO 7888:1985 / EN 27888 table, as a cubic within 0.0006 of it.
    Raises RefusedError outside 0-36 °C.
    """
    within(celsius, 0.0, 36.0, what="water temperature", unit="°C")
    x = celsius - 25.0
    return 1.0 / (1.00008069 + 0.0210692814 * x + 6.62389e-5 * x * x - 4.22407e-7 * x**3)


def at_25(*, raw: float, celsius: float) -> float:
    """Conductivity at 25 °C from a raw, uncompensated reading, µS/cm both.

    Many cheap probes already compensate; doing it twice adds 2 % a degree.
    Raises RefusedError for a negative reading or outside the range of `factor_25`.
    """
    within(raw, 0.0, 200_000.0, what="conductivity", unit="µS/cm")
    return raw * factor_25(celsius)


def raw_at(*, conductivity: float, celsius: float) -> float:
    """What an uncompensated meter would show at `celsius`, µS/cm, of a value at 25 °C."""
    within(conductivity, 0.0, 200_000.0, what="conductivity", unit="µS/cm")
    return conductivity / factor_25(celsius)


def at_25_linear(*, raw: float, celsius: float, percent_per_degree: float = 1.91) -> float:
    """Conductivity at 25 °C by the straight-line rule many meters use, µS/cm both.

    percent_per_degree: 0.5-3; 1.91 for natural water, 2.1 for table salt, 1.3-1.6 for strong acid.
    Errs by -1.9 to +1.5 % against ISO 7888 over 5-32 °C. Raises RefusedError outside 0-60 °C.
    """
    within(celsius, 0.0, 60.0, what="water temperature", unit="°C")
    within(percent_per_degree, 0.5, 3.0, what="temperature coefficient", unit="% per °C")
    return raw / (1.0 + percent_per_degree / 100.0 * (celsius - 25.0))


class Standard(StrEnum):
    """Calibration solutions of potassium chloride."""

    KCL_001_MOLAL = "KCl 0.01 mol/kg"
    KCL_84 = "84 µS"


# µS/cm at °C. 0.01 mol/kg: Pratt et al. 2001 (IUPAC), CRC Handbook 5-73; 84 µS: as printed on the
# bottles' tables.
_STANDARDS: dict[Standard, tuple[tuple[float, ...], tuple[float, ...]]] = {
    Standard.KCL_001_MOLAL: (
        (0, 5, 10, 15, 18, 20, 25, 30, 35, 40, 45, 50),
        (772.92, 890.96, 1013.95, 1141.45, 1219.93, 1273.03, 1408.23, 1546.63, 1687.79,
         1831.27, 1976.62, 2123.43),
    ),
    Standard.KCL_84: (
        (0, 10, 15, 20, 25, 30, 35),
        (53.02, 60.34, 67.61, 75.80, 84.00, 92.19, 100.92),
    ),
}  # fmt: skip


def of_standard(standard: Standard, celsius: float) -> float:
    """Raw conductivity, µS/cm, of a calibration solution at its own temperature.

    Straight lines between printed points, 0-50 °C, or 0-35 °C for 84 µS. The 84 µS table's point
    at 0 °C is printed 15 % above what KCl does (it fits 5 °C), so between 0 and 10 °C it is not
    read. Raises RefusedError there and outside the table.
    """
    celsius_points, points = _STANDARDS[standard]
    if standard is Standard.KCL_84 and 0.0 < celsius < 10.0:
        raise RefusedError(
            "the printed table of the 84 µS standard cannot be trusted between "
            f"{temperature(0, 'g')} and {temperature(10, 'g')}. Warm the bottle: "
            f"{measured('20-25', CELSIUS)} is best."
        )
    return read_between(celsius_points, points, celsius)


class Salt(StrEnum):
    """The salt a TDS figure pretends the water to be."""

    MIX_442 = "442"
    NACL = "NaCl"
    KCL = "KCl"


# mg/L at µS/cm: conversion table common to two meter makers; factors read between points
_SOLIDS: dict[Salt, tuple[tuple[float, ...], tuple[float, ...]]] = {
    Salt.MIX_442: ((84.0, 447.0, 1413.0), (50.50, 300.0, 1000.0)),
    Salt.NACL: ((84.0, 1413.0), (38.04, 702.1)),
    Salt.KCL: ((84.0, 1413.0), (40.38, 744.7)),
}


def solids(*, conductivity: float, salt: Salt) -> float:
    """ "TDS", mg/L, as a meter set to `salt` would show it, from µS/cm at 25 °C.

    Range 10-3000 µS/cm; beyond the printed 84-1413 the nearest printed factor is kept.
    Not a measurement: the same water shows 700 or 1000 by the factor chosen.
    Raises RefusedError outside the range.
    """
    within(conductivity, 10.0, 3000.0, what="conductivity", unit="µS/cm")
    points, mg = _SOLIDS[salt]
    factors = [m / p for m, p in zip(mg, points, strict=True)]
    held = min(max(conductivity, points[0]), points[-1])
    return conductivity * read_between(points, factors, held)


# limiting conductance per equivalent, S cm²/eq at 25 °C, and charge: CRC Handbook
_LIMITING = {
    "calcium": (59.47, 2), "magnesium": (53.0, 2), "sodium": (50.08, 1), "potassium": (73.48, 1),
    "chloride": (76.31, 1), "sulphate": (80.0, 2), "bicarbonate": (44.5, 1),
    "carbonate": (69.3, 2), "hydrogen": (349.65, 1), "hydroxide": (198.0, 1),
}  # fmt: skip
HYDROGEN_S = _LIMITING["hydrogen"][0]
BICARBONATE_S = _LIMITING["bicarbonate"][0]


def estimated(balance: Balance, ions: Ions) -> float:
    """Conductivity at 25 °C, µS/cm, reckoned from what is dissolved; good to about 5 %.

    Range: ionic strength to 30 mmol/L. Source: limiting conductances of the CRC Handbook with the
    Robinson-Stokes form of Onsager's law for each ion; for double charges the
    drag of the ion cloud is taken to grow with the charge squared (ours, held against PHREEQC).
    Raises RefusedError for stronger water.
    """
    within(balance.ionic_strength, 0.0, 30.0, what="ionic strength", unit="mmol/L")
    h = 1000.0 * 10.0**-balance.ph
    amounts = {
        "calcium": ions.calcium, "magnesium": ions.magnesium, "sodium": ions.sodium,
        "potassium": ions.potassium, "chloride": ions.chloride, "sulphate": ions.sulphate,
        "bicarbonate": balance.bicarbonate, "carbonate": balance.carbonate,
        "hydrogen": h, "hydroxide": 1e-8 / h,
    }  # fmt: skip
    root = (balance.ionic_strength / 1000.0) ** 0.5
    slowed = root / (1.0 + root)
    total = 0.0
    for name, amount in amounts.items():
        limiting, charge = _LIMITING[name]
        per_equivalent = limiting - (0.2300 * charge**2 * limiting + 30.3 * charge) * slowed
        total += amount * charge * per_equivalent
    return total
