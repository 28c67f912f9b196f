"""Ions: what is dissolved besides carbonate, and a fair guess of it from a keeper's kits."""

from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.room.measured import general_hardness
from roewatch.water.hardness import mmol_of_dgh
from roewatch.water.refusal import RefusedError

CALCIUM_SHARE = 0.75
"""Share of general hardness taken as calcium when the report does not say; the rest is Mg."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ions:
    """Strong ions, mmol/L each. chloride also stands for nitrate and other single anions."""

    calcium: float = 0.0
    magnesium: float = 0.0
    sodium: float = 0.0
    potassium: float = 0.0
    chloride: float = 0.0
    sulphate: float = 0.0

    def __post_init__(self) -> None:
        for name in ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulphate"):
            amount = getattr(self, name)
            if not 0.0 <= amount <= 100.0:
                raise RefusedError(
                    f"{name} is {amount:g} mmol/L; fresh water holds 0 to 100. Check the unit."
                )

    @property
    def earths(self) -> float:
        """Calcium and magnesium together, mmol/L: general hardness in moles."""
        return self.calcium + self.magnesium

    @property
    def surplus(self) -> float:
        """Strong cations less strong anions, meq/L. In a balanced water this is the alkalinity."""
        return (
            2.0 * (self.calcium + self.magnesium)
            + self.sodium
            + self.potassium
            - self.chloride
            - 2.0 * self.sulphate
        )


def mixed(parts: Sequence[tuple[float, Ions]]) -> Ions:
    """The ions of a mixture; parts: (share, ions), the shares adding to one."""
    return Ions(
        calcium=sum(share * ions.calcium for share, ions in parts),
        magnesium=sum(share * ions.magnesium for share, ions in parts),
        sodium=sum(share * ions.sodium for share, ions in parts),
        potassium=sum(share * ions.potassium for share, ions in parts),
        chloride=sum(share * ions.chloride for share, ions in parts),
        sulphate=sum(share * ions.sulphate for share, ions in parts),
    )


# limiting molar conductance, S cm²/mol at 25 °C, as equivalents: CRC Handbook
_LAMBDA = {"calcium": 59.5, "magnesium": 53.0, "sodium": 50.1, "chloride": 76.3, "alkali": 44.5}


def ions_of_kits(
    *, dgh: float, alkalinity: float, conductivity: float | None = None, sulphate: float = 0.0
) -> Ions:
    """A fair guess of the strong ions from hardness, alkalinity and conductivity.

    dgh: °dGH. alkalinity: meq/L. conductivity: µS/cm at 25 °C or None. sulphate: mmol/L if known.
    Hardness is taken three quarters calcium. What then lacks a partner is made up with sodium or
    chloride; conductivity beyond that is counted as sodium chloride. pH answers depend on this
    guess only through ionic strength and pairs: under 0.02 pH in soft water.
    Raises RefusedError for negative hardness.
    """
    if not dgh >= 0.0:
        raise RefusedError(f"general hardness is {general_hardness(dgh)}; it cannot be below zero.")
    calcium = mmol_of_dgh(dgh) * CALCIUM_SHARE
    magnesium = mmol_of_dgh(dgh) * (1.0 - CALCIUM_SHARE)
    gap = alkalinity + 2.0 * sulphate - 2.0 * (calcium + magnesium)
    sodium, chloride = max(gap, 0.0), max(-gap, 0.0)
    if conductivity is not None:
        known = (
            2.0 * calcium * _LAMBDA["calcium"]
            + 2.0 * magnesium * _LAMBDA["magnesium"]
            + sodium * _LAMBDA["sodium"]
            + chloride * _LAMBDA["chloride"]
            + max(alkalinity, 0.0) * _LAMBDA["alkali"]
            + 2.0 * sulphate * 80.0
        )
        # 0.93: ions slow one another a little at tap-water strength
        salt = max(conductivity / 0.93 - known, 0.0) / (_LAMBDA["sodium"] + _LAMBDA["chloride"])
        sodium, chloride = sodium + salt, chloride + salt
    return Ions(
        calcium=calcium,
        magnesium=magnesium,
        sodium=sodium,
        chloride=chloride,
        sulphate=sulphate,
    )
