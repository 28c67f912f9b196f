"""Carbonate: pH, alkalinity and carbon dioxide of fresh water, each from the other two.

Alkalinity is [HCO3] + 2[CO3] + [OH] - [H] + carbonate in pairs - [HSO4]; it is conserved on mixing,
gas exchange and change of temperature, unlike pH. pH is -log10 of the hydrogen *activity*.
Closed: total dissolved carbon is given (just after mixing). Open: the CO2 of the air is given
(after a day of bubbling). The two differ by up to two units, so callers show both.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from roewatch.room.measured import temperature
from roewatch.water import equilibrium
from roewatch.water.equilibrium import Constants
from roewatch.water.ions import Ions
from roewatch.water.refusal import RefusedError, within
from roewatch.water.root import root_of

OUTDOOR_UATM = 420.0
ROOM_UATM = 800.0
"""CO2 of room air used when nobody measured it; rooms commonly hold 600-1000 µatm."""
CO2_G_MOL = 44.009
LEAST_ALKALINITY, MOST_ALKALINITY = -20.0, 60.0
"""meq/L: what the balance is worked out for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """One water at rest: everything the solver knows about it.

    ph. alkalinity: meq/L. dic: all dissolved inorganic carbon, mmol/L. co2: dissolved CO2, mmol/L.
    bicarbonate, carbonate: free ions, mmol/L. pco2: the CO2 of air it would be at rest with, µatm.
    ionic_strength: mmol/L. celsius.
    """

    ph: float
    alkalinity: float
    dic: float
    co2: float
    bicarbonate: float
    carbonate: float
    pco2: float
    ionic_strength: float
    celsius: float

    @property
    def co2_mg(self) -> float:
        """Dissolved CO2, mg/L."""
        return self.co2 * CO2_G_MOL


class _Totals(NamedTuple):
    """mol/L. spectators: the charge-squared sum of ions that join nothing."""

    calcium: float
    magnesium: float
    sulphate: float
    spectators: float


class _Speciation(NamedTuple):
    """One trial: alkalinity and carbon at one pH, mol/L."""

    alkalinity: float
    dic: float
    co2: float
    bicarbonate: float
    carbonate: float
    charge_squares: float  # sum of c z², twice the ionic strength
    acid: float  # the part of alkalinity that is not carbonate: OH - H - HSO4


# dissolved CO2, mol/L, of one trial from: mol DIC and mol alkalinity per mol of it, the alkalinity
# that is not carbonate, and the activity coefficient of CO2
_CarbonRule = Callable[[float, float, float, float], float]


def _speciate(
    ph: float, k: Constants, log_g1: float, strength: float, totals: _Totals, rule: _CarbonRule
) -> _Speciation:
    """Species at one pH and one ionic strength.

    Free metals and free anions are found in turn; each falls when the other rises, so their
    composition rises and the iteration closes in on its one fixed point from any start.
    """
    g1 = 10.0**log_g1
    g2 = 10.0 ** (4.0 * log_g1)
    g0 = 10.0 ** (0.1 * strength)  # neutral CO2, salting out
    activity = 10.0**-ph
    h = activity / g1
    oh = k.water / (activity * g1)
    b1 = k.first * g0 / (activity * g1)
    b2 = b1 * k.second * g1 / (activity * g2)
    ca1, ca2 = k.ca_hco3 * g2 * b1, k.ca_co3 * g2 * g2 * b2
    mg1, mg2 = k.mg_hco3 * g2 * b1, k.mg_co3 * g2 * g2 * b2
    cas, mgs = k.ca_so4 * g2 * g2, k.mg_so4 * g2 * g2
    hs = k.hso4 * activity * g2 / g1
    ca, mg = totals.calcium, totals.magnesium
    while True:
        so4 = totals.sulphate / (1.0 + hs + ca * cas + mg * mgs)
        acid = oh - h - hs * so4
        per_carbon = 1.0 + b1 + b2 + ca * (ca1 + ca2) + mg * (mg1 + mg2)
        per_alkali = b1 + 2.0 * b2 + ca * (ca1 + 2.0 * ca2) + mg * (mg1 + 2.0 * mg2)
        c = rule(per_carbon, per_alkali, acid, g0)
        free_ca = totals.calcium / (1.0 + c * (ca1 + ca2) + so4 * cas)
        free_mg = totals.magnesium / (1.0 + c * (mg1 + mg2) + so4 * mgs)
        moved = abs(free_ca - ca) + abs(free_mg - mg)
        ca, mg = free_ca, free_mg
        if moved <= 1e-9 * (totals.calcium + totals.magnesium):
            break
    per_carbon = 1.0 + b1 + b2 + ca * (ca1 + ca2) + mg * (mg1 + mg2)
    per_alkali = b1 + 2.0 * b2 + ca * (ca1 + 2.0 * ca2) + mg * (mg1 + 2.0 * mg2)
    squares = totals.spectators + h + oh + c * (b1 + 4.0 * b2 + ca * ca1 + mg * mg1)
    squares += 4.0 * (ca + mg + so4) + hs * so4
    return _Speciation(
        c * per_alkali + acid, c * per_carbon, c, c * b1, c * b2, squares, acid
    )  # fmt: skip


def _totals(ions: Ions) -> _Totals:
    return _Totals(
        calcium=ions.calcium / 1000.0,
        magnesium=ions.magnesium / 1000.0,
        sulphate=ions.sulphate / 1000.0,
        spectators=(ions.sodium + ions.potassium + ions.chloride) / 1000.0,
    )


def _straightened(alkalinity: float) -> float:
    """Alkalinity, mol/L, bent so that it is nearly straight against pH: few secant steps."""
    return math.asinh(alkalinity / 1e-6)


def _solve(
    *, alkalinity: float, celsius: float, ions: Ions, rule: _CarbonRule, guess: float
) -> Balance:
    """The balance at which alkalinity fits; outer loop on ionic strength. guess: a fair pH."""
    k = equilibrium.constants(celsius)
    totals = _totals(ions)
    wanted = _straightened(alkalinity / 1000.0)
    strength = _first_strength(totals, alkalinity / 1000.0)
    ph, reach = guess, 0.1
    for _ in range(60):
        used = min(strength, 2.0 * equilibrium.STRONGEST)
        log_g1 = equilibrium.log_activity(used, k.davies_a)

        def off(trial: float, log_g1: float = log_g1, used: float = used) -> float:
            found = _speciate(trial, k, log_g1, used, totals, rule)
            return _straightened(found.alkalinity) - wanted

        ph = root_of(off, near=ph, reach=reach)
        found = _speciate(ph, k, log_g1, used, totals, rule)
        before, strength = strength, 0.5 * found.charge_squares
        # a pH moves by less than half of log(strength): this is below a millionth
        if abs(strength - before) <= 1e-6 * strength + 1e-12:
            return _balance(ph, found, strength, k, celsius, alkalinity)
        reach = 1e-4
    raise RefusedError(
        f"the carbonate balance did not settle (alkalinity {alkalinity:g} meq/L, "
        f"{temperature(celsius, 'g')}). This is a fault of the program: please report these "
        "numbers."
    )


def _first_strength(totals: _Totals, alkalinity: float) -> float:
    squares = totals.spectators + 4.0 * sum(totals[:3]) + abs(alkalinity)
    return max(0.5 * squares, 1e-7)


def _balance(
    ph: float, found: _Speciation, strength: float, k: Constants, celsius: float, alkalinity: float
) -> Balance:
    if strength > equilibrium.STRONGEST:
        raise RefusedError(
            f"ionic strength is {strength * 1000:.0f} mmol/L; this chemistry holds to 100 "
            "(about a tenth of sea water). It is not for brackish or marine tanks."
        )
    return Balance(
        ph=ph,
        alkalinity=alkalinity,
        dic=found.dic * 1000.0,
        co2=found.co2 * 1000.0,
        bicarbonate=found.bicarbonate * 1000.0,
        carbonate=found.carbonate * 1000.0,
        pco2=found.co2 * 10.0 ** (0.1 * strength) / k.co2_gas * 1e6,
        ionic_strength=strength * 1000.0,
        celsius=celsius,
    )


def closed(*, alkalinity: float, dic: float, celsius: float, ions: Ions) -> Balance:
    """The balance of water that has had no time to trade CO2 with the air.

    alkalinity: meq/L, -20 to 60; negative for over-acidified water. dic: mmol/L, 0-100.
    celsius: 0-50. ions: `Ions`. Raises RefusedError outside these, beyond 100 mmol/L of ionic
    strength, or where no pH between 1 and 14 fits.
    Source: `equilibrium.constants`; activities by Davies.
    """
    within(alkalinity, LEAST_ALKALINITY, MOST_ALKALINITY, what="alkalinity", unit="meq/L")
    within(dic, 0.0, 100.0, what="dissolved carbon", unit="mmol/L")
    carbon = dic / 1000.0
    share = alkalinity / dic if dic > 0.0 else 1.0
    return _solve(
        alkalinity=alkalinity,
        celsius=celsius,
        ions=ions,
        rule=lambda per_carbon, _per_alkali, _acid, _g0: carbon / per_carbon,
        guess=6.35 + math.log10(share / (1.0 - share)) if 0.002 < share < 0.998 else 7.0,
    )


def aired(*, alkalinity: float, pco2: float, celsius: float, ions: Ions) -> Balance:
    """The balance of water at rest with air.

    pco2: CO2 of the air, µatm, 1-100,000. Others, errors and source as `closed`.
    """
    within(alkalinity, LEAST_ALKALINITY, MOST_ALKALINITY, what="alkalinity", unit="meq/L")
    within(pco2, 1.0, 100_000.0, what="CO2 of the air", unit="µatm")
    gas = equilibrium.constants(celsius).co2_gas * pco2 * 1e-6
    return _solve(
        alkalinity=alkalinity,
        celsius=celsius,
        ions=ions,
        rule=lambda _per_carbon, _per_alkali, _acid, g0: gas / g0,
        guess=6.35 + math.log10(max(alkalinity, 0.002) / (gas * 1000.0)),
    )


def of_ph(*, ph: float, alkalinity: float, celsius: float, ions: Ions) -> Balance:
    """The balance of water whose pH and alkalinity were measured; dissolved carbon falls out.

    ph: 2-11.5. Others and source as `closed`. Raises RefusedError when alkalinity is so thin beside
    acid or lye that pH says nothing about carbon (rain, over-acidified water): give the CO2 of the
    air instead (`aired`); and when the two readings cannot both be right.
    """
    within(ph, 2.0, 11.5, what="pH")
    within(alkalinity, LEAST_ALKALINITY, MOST_ALKALINITY, what="alkalinity", unit="meq/L")
    k = equilibrium.constants(celsius)
    totals = _totals(ions)
    alk = alkalinity / 1000.0
    strength = _first_strength(totals, alk)
    for _ in range(60):
        used = min(strength, 2.0 * equilibrium.STRONGEST)
        log_g1 = equilibrium.log_activity(used, k.davies_a)
        found = _speciate(
            ph, k, log_g1, used, totals,
            lambda _per_carbon, per_alkali, acid, _g0: max(alk - acid, 0.0) / per_alkali,
        )  # fmt: skip
        _refuse_unreadable(ph, alk, found)
        before, strength = strength, 0.5 * found.charge_squares
        if abs(strength - before) <= 1e-7 * strength + 1e-12:
            return _balance(ph, found, strength, k, celsius, alkalinity)
    raise RefusedError(
        f"pH {ph:g} with {alkalinity:g} meq/L did not settle. Please report the numbers."
    )


def _refuse_unreadable(ph: float, alk: float, found: _Speciation) -> None:
    held = alk - found.acid
    if ph > 7.0 and held <= 0.0:
        raise RefusedError(
            f"pH {ph:.2f} and alkalinity {alk * 1000:.3f} meq/L cannot both be right: the "
            "alkalinity is less than that pH needs with no carbonate at all. Measure both again."
        )
    # below this, the 0.1 of a pH reading moves the answer by more than half
    if held < 0.5 * abs(found.acid) or held < 2e-6:
        raise RefusedError(
            f"with alkalinity {alk * 1000:.3f} meq/L at pH {ph:.2f} the pH says nothing about "
            "dissolved CO2. Let the sample stand with air stone for a day and give the CO2 of "
            "the air instead."
        )


def alkalinity_for_aired_ph(*, ph: float, pco2: float, celsius: float, ions: Ions) -> float:
    """Alkalinity, meq/L, that water at rest with air of `pco2` µatm has at this pH.

    ph: 2-11.5. The ions count only through activity and pairs. Others, errors as `aired`.
    """
    within(pco2, 1.0, 100_000.0, what="CO2 of the air", unit="µatm")
    gas = equilibrium.constants(celsius).co2_gas * pco2 * 1e-6
    return _alkalinity_at(ph, celsius, ions, lambda _c, _a, _acid, g0: gas / g0)


def alkalinity_for_closed_ph(*, ph: float, dic: float, celsius: float, ions: Ions) -> float:
    """Alkalinity, meq/L, that water holding `dic` mmol/L of carbon has at this pH.

    ph: 2-11.5. Others, errors as `closed`.
    """
    within(dic, 0.0, 100.0, what="dissolved carbon", unit="mmol/L")
    carbon = dic / 1000.0
    return _alkalinity_at(ph, celsius, ions, lambda per_carbon, _a, _acid, _g0: carbon / per_carbon)


def _alkalinity_at(ph: float, celsius: float, ions: Ions, rule: _CarbonRule) -> float:
    within(ph, 2.0, 11.5, what="pH")
    k = equilibrium.constants(celsius)
    totals = _totals(ions)
    strength = _first_strength(totals, 0.0)
    for _ in range(60):
        used = min(strength, 2.0 * equilibrium.STRONGEST)
        log_g1 = equilibrium.log_activity(used, k.davies_a)
        found = _speciate(ph, k, log_g1, used, totals, rule)
        before, strength = strength, 0.5 * found.charge_squares
        if abs(strength - before) <= 1e-7 * strength + 1e-12:
            break
    _balance(ph, found, strength, k, celsius, found.alkalinity * 1000.0)  # refuses brine
    return found.alkalinity * 1000.0
