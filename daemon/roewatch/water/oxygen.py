"""Oxygen: how much the water can hold, and how full it is."""

import math

from roewatch.water.refusal import RefusedError, within
from roewatch.water.unit import kelvin

ATM_HPA = 1013.25
O2_G_MOL = 31.998


def salinity_of_conductivity(conductivity: float) -> float:
    """Salinity, g/kg, of fresh or weakly salt water from conductivity in µS/cm at 25 °C.

    Range 0-40,000 µS/cm. Source: 5.572e-4 SC + 2.02e-9 SC², the form used with
    Benson-Krause in USGS practice (coefficients from memory). Raises RefusedError outside.
    """
    within(conductivity, 0.0, 40_000.0, what="conductivity", unit="µS/cm")
    return 5.572e-4 * conductivity + 2.02e-9 * conductivity * conductivity


def station_pressure(
    *, sea_level_hpa: float, altitude_m: float, celsius: float | None = None
) -> float:
    """Station pressure, hPa, where you stand, from the sea-level pressure a forecast gives.

    altitude_m: -400 to 5000 m. celsius: outdoor air there, None for the
    standard 15 °C at sea level; a small effect.
    Source: barometric formula of the ICAO standard atmosphere, lapse 6.5 K/km.
    Raises RefusedError outside the ranges.
    """
    within(sea_level_hpa, 870.0, 1090.0, what="sea-level pressure", unit="hPa")
    within(altitude_m, -400.0, 5000.0, what="altitude", unit="m")
    warm = kelvin(15.0) if celsius is None else kelvin(celsius) + 0.0065 * altitude_m
    return sea_level_hpa * float((1.0 - 0.0065 * altitude_m / warm) ** 5.25588)


def saturation(*, celsius: float, pressure_hpa: float = ATM_HPA, salinity: float = 0.0) -> float:
    """Oxygen at saturation with moist air, mg/L.

    celsius: 0-40. pressure_hpa: *station* pressure, 507-1115 hPa (0.5-1.1 atm), not the
    sea-level one a forecast gives. salinity: g/kg, 0-40.
    Source: Benson and Krause 1980 for fresh water, 1984 (Limnol. Oceanogr. 29:620-632,
    eq. 32) with its salinity and pressure terms; adopted by USGS memo 2011.03.
    Raises RefusedError outside the ranges.
    """
    within(celsius, 0.0, 40.0, what="water temperature", unit="°C")
    within(pressure_hpa, 0.5 * ATM_HPA, 1.1 * ATM_HPA, what="station pressure", unit="hPa")
    within(salinity, 0.0, 40.0, what="salinity", unit="g/kg")
    t = kelvin(celsius)
    fresh = math.exp(
        -139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.243800e10 / t**3 - 8.621949e11 / t**4
    )
    salt = math.exp(-salinity * (0.017674 - 10.754 / t + 2140.7 / t**2))
    pressure = pressure_hpa / ATM_HPA
    vapour = math.exp(11.8571 - 3840.70 / t - 216961.0 / t**2)
    theta = 0.000975 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    squeeze = (pressure - vapour) * (1 - theta * pressure) / ((1 - vapour) * (1 - theta))
    return fresh * salt * squeeze


def saturation_umol(
    *, celsius: float, pressure_hpa: float = ATM_HPA, salinity: float = 0.0
) -> float:
    """Oxygen at saturation, µmol/L. Range, errors and source as `saturation`."""
    mg = saturation(celsius=celsius, pressure_hpa=pressure_hpa, salinity=salinity)
    return mg / O2_G_MOL * 1000.0


def percent(
    *, oxygen: float, celsius: float, pressure_hpa: float = ATM_HPA, salinity: float = 0.0
) -> float:
    """How full the water is, % of saturation, from mg/L. Over 100 is possible in bright light.

    Raises RefusedError for a reading outside 0-60 mg/L or outside the range of `saturation`.
    """
    within(oxygen, 0.0, 60.0, what="oxygen", unit="mg/L")
    full = saturation(celsius=celsius, pressure_hpa=pressure_hpa, salinity=salinity)
    return 100.0 * oxygen / full


def cautions(percent_full: float) -> tuple[str, ...]:
    """What a keeper should hear about a saturation, %. Raises RefusedError if it is negative."""
    if percent_full < 0.0:
        raise RefusedError(f"saturation is {percent_full:g} %; it cannot be below zero.")
    if percent_full > 115.0:
        return (
            (
                "Well above saturation: gas bubbles can form in small fish. Check the probe, the "
                "pump for air leaks, and whether cold water was warmed in a closed pipe."
            ),
        )
    if percent_full < 60.0:
        return ("Low. Add air now, then look for the cause: stopped pump, rotting food, heat.",)
    return ()
