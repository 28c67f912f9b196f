"""Nitrite: when a small reading is a danger."""

from roewatch.water.refusal import within

NO2_PER_N = 46.005 / 14.007
"""mg of NO2- that hold 1 mg of nitrogen: 3.2844."""


def cautions(*, nitrite: float, ph: float, chloride: float | None = None) -> tuple[str, ...]:
    """What a nitrite reading, mg/L as NO2-, means in this water; chloride in mg/L if known.

    Danger is said from 0.1 mg/L NO2- (working limit of zebrafish units); for cardinal tetra it is
    published from 1.1, and Brycon blood spoiled from 0.2-0.6 mg/L NO2-N within a day. Chloride
    keeps nitrite out of the gills, and soft acid water has next to none.
    Raises RefusedError for a reading outside 0-100 mg/L.
    """
    within(nitrite, 0.0, 100.0, what="nitrite", unit="mg/L NO2-")
    within(ph, 3.0, 10.0, what="pH")
    found: list[str] = []
    if nitrite > 0.1:
        found.append(
            f"{nitrite:g} mg/L of nitrite is above the working limit of 0.1: change water of the "
            "same pH and hardness, feed nothing today."
        )
    thin = chloride is None or chloride < 10.0
    if nitrite > 0.05 and ph < 6.8 and thin:
        found.append(
            "Soft acid water holds little chloride, so nitrite enters the gills more easily: take "
            "half the usual limit."
        )
    return tuple(found)
