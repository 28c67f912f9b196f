"""The carbonate system of soft tank water: pH from alkalinity and dissolved carbon dioxide.

A simulator's chemistry, kept apart from the daemon's on purpose: had both the same code, a
mistake in it would be invisible in every test that plays one against the other.
Equilibrium constants: Plummer and Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040; water:
the Kw fit of the same family printed with it in phreeqc.dat's sources. Activity after Davies.
"""

from math import log10, sqrt

_COLDEST, _WARMEST, _PER_KELVIN = -10.0, 60.0, 10


def _log_k(celsius: float, a: float, b: float, c: float, d: float, e: float) -> float:
    kelvin = celsius + 273.15
    return a + b * kelvin + c / kelvin + d * log10(kelvin) + e / kelvin**2


def p_k1(celsius: float) -> float:
    """pK of CO2 + H2O = H+ + HCO3-."""
    return -_log_k(celsius, -356.3094, -0.06091964, 21834.37, 126.8339, -1684915)


def p_k2(celsius: float) -> float:
    """pK of HCO3- = H+ + CO3--."""
    return -_log_k(celsius, -107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)


def p_kw(celsius: float) -> float:
    """pK of water."""
    kelvin = celsius + 273.15
    return -(
        293.29227 + 0.1360833 * kelvin - 10576.913 / kelvin
        - 123.73158 * log10(kelvin) - 6.996455e-5 * kelvin**2
    )  # fmt: skip


def _steps(p_k: list[float]) -> list[float]:
    return [float(10.0**-p) for p in p_k]


# looked up at every step of every tank, so tabulated each 0.1 K: at most 0.0004 in pH
_GRID = [_COLDEST + n / _PER_KELVIN for n in range(int((_WARMEST - _COLDEST) * _PER_KELVIN) + 1)]
_K1 = _steps([p_k1(t) for t in _GRID])
_K2 = _steps([p_k2(t) for t in _GRID])
_KW = _steps([p_kw(t) for t in _GRID])
_KH = _steps([-_log_k(t, 108.3865, 0.01985076, -6919.53, -40.45154, 669365) for t in _GRID])


def _row(celsius: float) -> int:
    return int((min(max(celsius, _COLDEST), _WARMEST) - _COLDEST) * _PER_KELVIN + 0.5)


def activity(ions_meq: float) -> float:
    """Activity coefficient of a singly charged ion at that ionic strength, mmol/L (Davies)."""
    root = sqrt(max(ions_meq, 0.0) / 1000)
    return float(10.0 ** (-0.511 * (root / (1 + root) - 0.3 * root * root)))


def dissolved_co2(celsius: float, uatm: float) -> float:
    """CO2 in water in balance with air of that partial pressure: mmol/L."""
    return _KH[_row(celsius)] * uatm * 1e-3


def ph_of(alkalinity: float, co2: float, celsius: float, activity: float = 1.0) -> float:
    """pH (of H+ activity) of water with that alkalinity, meq/L, and dissolved CO2, mmol/L.

    Alkalinity may be negative: that much free acid. activity: of a singly charged ion.
    """
    row = _row(celsius)
    k1_co2 = _K1[row] * co2 * 1e-3
    given = alkalinity * 1e-3 * activity
    water = k1_co2 + _KW[row]
    # carbonate left out, the balance is a quadratic in H+; of its two roots one is positive
    root = sqrt(given * given + 4 * water)
    # the same root, written so that two nearly equal numbers are never subtracted
    h = 2 * water / (root + given) if given > 0 else (root - given) / 2
    if h < 1e-7:  # above pH 7 carbonate counts; below, leaving it out costs 0.0005 pH at most
        k2 = 2 * k1_co2 * _K2[row] / activity**3
        for _ in range(4):
            excess = water / h + k2 / (h * h) - h - given
            h += excess / (water / (h * h) + 2 * k2 / (h * h * h) + 1)
    return float(-log10(h))


def alkalinity_of(ph: float, co2: float, celsius: float, activity: float = 1.0) -> float:
    """Alkalinity, meq/L, that gives this pH with that much dissolved CO2, mmol/L."""
    row = _row(celsius)
    h = float(10.0**-ph)
    k1_co2 = _K1[row] * co2 * 1e-3
    carbonate = 2 * k1_co2 * _K2[row] / (activity**3 * h * h)
    return float(1000 * ((k1_co2 + _KW[row]) / h + carbonate - h) / activity)
