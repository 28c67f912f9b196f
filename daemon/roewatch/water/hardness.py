"""Hardness: degrees, millimoles, milliequivalents and milligrams of the same calcium and alkali.

Two traps are kept apart by name. General hardness (dGH) counts *moles* of calcium and magnesium,
0.178 mmol/L a degree; carbonate hardness (dKH) counts *equivalents* of alkalinity, 0.357 meq/L a
degree. Both read 17.85 mg/L "as CaCO3". KH may exceed GH: softened water does.

Source of every factor: 1 °dH is 10 mg CaO per litre; atomic weights from the IUPAC 2021 abridged
table (Ca 40.078, Mg 24.305, O 15.999, C 12.011, H 1.008).
"""

import math
from enum import StrEnum

from roewatch.water.refusal import RefusedError

CALCIUM_G_MOL = 40.078
MAGNESIUM_G_MOL = 24.305
_CAO_G_MOL = 56.077
_CACO3_G_MOL = 100.086
_HCO3_G_MOL = 61.016

MMOL_PER_DGH = 10.0 / _CAO_G_MOL
"""mmol/L of calcium and magnesium together in one degree of general hardness: 0.17833."""
MEQ_PER_DKH = 2.0 * MMOL_PER_DGH
"""meq/L of alkalinity in one degree of carbonate hardness: 0.35665."""
CACO3_MG_PER_DEGREE = MMOL_PER_DGH * _CACO3_G_MOL
"""mg/L as CaCO3 in one German degree of either kind: 17.848."""
CACO3_MG_PER_MEQ = _CACO3_G_MOL / 2.0
"""mg/L as CaCO3 in 1 meq/L of alkalinity: 50.04."""


class Degree(StrEnum):
    """The units a kit or a water report may print for hardness. The text value is what is typed.

    `ppm` is missing on purpose: it may mean as CaCO3, as Ca or as HCO3, so the keeper must say.
    """

    GERMAN = "dH"
    FRENCH = "fH"  # 10 mg/L CaCO3
    ENGLISH = "Clark"  # 14.25 mg/L CaCO3
    GRAIN_US = "gpg"  # 17.12 mg/L CaCO3
    CACO3 = "mg/L CaCO3"
    MMOL = "mmol/L"  # of calcium and magnesium
    MEQ = "meq/L"


_CACO3_MG = {
    Degree.GERMAN: CACO3_MG_PER_DEGREE,
    Degree.FRENCH: 10.0,
    Degree.ENGLISH: 14.25,
    Degree.GRAIN_US: 17.12,
    Degree.CACO3: 1.0,
    Degree.MMOL: _CACO3_G_MOL,
    Degree.MEQ: CACO3_MG_PER_MEQ,
}


def converted(value: float, given: Degree, wanted: Degree) -> float:
    """A hardness or an alkalinity in another unit; both share "mg/L as CaCO3".

    For alkalinity `MMOL` would be ambiguous (mmol of bicarbonate or of CaCO3): use `MEQ`.
    Negative values pass: over-acidified water has negative alkalinity.
    Raises RefusedError if `value` is not finite.
    """
    if not math.isfinite(value):
        raise RefusedError(f"hardness is {value}, which is no number. Measure it again.")
    return value * _CACO3_MG[given] / _CACO3_MG[wanted]


def dgh_of_mmol(earths: float) -> float:
    """General hardness, °dGH, of `earths` mmol/L of calcium and magnesium together."""
    return earths / MMOL_PER_DGH


def mmol_of_dgh(dgh: float) -> float:
    """mmol/L of calcium and magnesium together in `dgh` °dGH."""
    return dgh * MMOL_PER_DGH


def dkh_of_meq(alkalinity: float) -> float:
    """Carbonate hardness, °dKH, of `alkalinity` meq/L. Negative for over-acidified water."""
    return alkalinity / MEQ_PER_DKH


def meq_of_dkh(dkh: float) -> float:
    """Alkalinity, meq/L, of `dkh` °dKH."""
    return dkh * MEQ_PER_DKH


def dgh_of_metals(*, calcium: float, magnesium: float) -> float:
    """General hardness, °dGH, of dissolved metals in mg/L.

    Raises RefusedError if either is negative or not a number.
    """
    for name, metal in (("calcium", calcium), ("magnesium", magnesium)):
        if not metal >= 0.0 or not math.isfinite(metal):
            raise RefusedError(
                f"{name} is {metal:g} mg/L; it cannot be below zero. Check the report."
            )
    return dgh_of_mmol(calcium / CALCIUM_G_MOL + magnesium / MAGNESIUM_G_MOL)


def caco3_of_metals(*, calcium: float, magnesium: float) -> float:
    """Hardness in mg/L as CaCO3 of dissolved metals in mg/L. Raises RefusedError below zero."""
    return dgh_of_metals(calcium=calcium, magnesium=magnesium) * CACO3_MG_PER_DEGREE


def calcium_of_dgh(dgh: float) -> float:
    """mg/L of calcium if all of `dgh` °dGH were calcium."""
    return mmol_of_dgh(dgh) * CALCIUM_G_MOL


def magnesium_of_dgh(dgh: float) -> float:
    """mg/L of magnesium if all of `dgh` °dGH were magnesium."""
    return mmol_of_dgh(dgh) * MAGNESIUM_G_MOL


def bicarbonate_of_dkh(dkh: float) -> float:
    """mg/L of bicarbonate if all of `dkh` °dKH were bicarbonate."""
    return meq_of_dkh(dkh) * _HCO3_G_MOL
