"""An equilibrium: the constants of carbon dioxide, water and the ion pairs, and ion activity.

All constants are for activities and zero ionic strength, mol/kg and atm; in fresh water a litre
and a kilogram differ by under 0.5 % and are not told apart.
"""

import math
from functools import lru_cache
from typing import NamedTuple

from roewatch.water.refusal import within
from roewatch.water.unit import kelvin

COLDEST_C = 0.0
WARMEST_C = 50.0
STRONGEST = 0.1
"""Highest ionic strength, mol/L, at which the Davies equation is used."""

_LN10 = math.log(10.0)
_R_KCAL = 1.98720425864083e-3  # kcal per mol and K

# log10 K = A + B T + C/T + D log10 T + E/T²
_PLUMMER_BUSENBERG: dict[str, tuple[float, float, float, float, float]] = {
    "co2_gas": (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0),
    "first": (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0),
    "second": (-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9),
    "ca_hco3": (1209.120, 0.31294, -34765.05, -478.782, 0.0),
    "ca_co3": (-1228.732, -0.299444, 35512.75, 485.818, 0.0),
    "mg_hco3": (-59.215, 0.0, 2537.455, 20.92298, 0.0),
    "mg_co3": (0.9910, 0.00667, 0.0, 0.0, 0.0),
    "hso4": (-56.889, 0.006473, 2307.9, 19.8858, 0.0),
}


class Constants(NamedTuple):
    """Equilibrium constants at one temperature, plain (not logarithms).

    co2_gas: mol/kg/atm of CO2. first, second: dissociation of carbonic acid. water: ion product.
    The rest: formation of HSO4- and of the six ion pairs. davies_a: the Debye-Hückel slope.
    """

    co2_gas: float
    first: float
    second: float
    water: float
    hso4: float
    ca_hco3: float
    ca_co3: float
    mg_hco3: float
    mg_co3: float
    ca_so4: float
    mg_so4: float
    davies_a: float


def _log_k(name: str, t: float) -> float:
    a, b, c, d, e = _PLUMMER_BUSENBERG[name]
    return a + b * t + c / t + d * math.log10(t) + e / (t * t)


def _van_t_hoff(log_k_25: float, kcal: float, t: float) -> float:
    return log_k_25 - kcal / (_R_KCAL * _LN10) * (1.0 / t - 1.0 / 298.15)


@lru_cache(maxsize=512)
def constants(celsius: float) -> Constants:
    """The constants at `celsius`, 0-50 °C.

    Source: Plummer and Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040 (carbonate and its
    calcium pairs); the magnesium, sulphate and water terms as in the PHREEQC data base of the
    USGS. Davies slope from the permittivity of water of Malmberg and Maryott 1956.
    Raises RefusedError outside 0-50 °C.
    """
    within(celsius, COLDEST_C, WARMEST_C, what="water temperature", unit="°C")
    t = kelvin(celsius)
    k = {name: 10.0 ** _log_k(name, t) for name in _PLUMMER_BUSENBERG}
    log_water = (
        293.29227
        + 0.1360833 * t
        - 10576.913 / t
        - 123.73158 * math.log10(t)
        - 6.996455e-5 * t * t  # T squared, unlike the others
    )
    permittivity = 87.740 - 0.40008 * celsius + 9.398e-4 * celsius**2 - 1.410e-6 * celsius**3
    return Constants(
        **k,
        water=10.0**log_water,
        ca_so4=10.0 ** _van_t_hoff(2.25, 1.325, t),
        mg_so4=10.0 ** _van_t_hoff(2.37, 4.550, t),
        # density is left out: the error, 0.2 %, is far below that of Davies itself
        davies_a=1.82483e6 / (permittivity * t) ** 1.5,
    )


def pk_henry(celsius: float) -> float:
    """-log10 of the solubility of CO2, mol/kg/atm. Range, errors, source as `constants`."""
    return -math.log10(constants(celsius).co2_gas)


def pk_first(celsius: float) -> float:
    """pK1 of carbonic acid at zero ionic strength. Range, errors, source as `constants`."""
    return -math.log10(constants(celsius).first)


def pk_second(celsius: float) -> float:
    """pK2 of carbonic acid at zero ionic strength. Range, errors, source as `constants`."""
    return -math.log10(constants(celsius).second)


def pk_water(celsius: float) -> float:
    """pKw at zero ionic strength. Range, errors, source as `constants`."""
    return -math.log10(constants(celsius).water)


def log_activity(ionic_strength: float, davies_a: float) -> float:
    """log10 of the activity coefficient of a singly charged ion (times z² for others).

    Davies equation with 0.3; good to 0.1 mol/L, which callers check.
    """
    root = math.sqrt(ionic_strength)
    return -davies_a * (root / (1.0 + root) - 0.3 * ionic_strength)
