"""Quality: which numbers a probe can honestly give.

The scheme is QARTOD's: 1 good, 2 not evaluated, 3 suspect, 4 bad, 9 missing, beside the value.
"""

import math
from typing import NamedTuple

from roewatch.room.quantity import Quantity


class Span(NamedTuple):
    """What a quantity can be. Outside `fail` the probe is broken; outside `suspect` look twice."""

    fail_low: float
    fail_high: float
    suspect_low: float
    suspect_high: float


# fail: what the sensor or the water cannot give; suspect: outside what soft-water fish are kept in
GROSS: dict[Quantity, Span] = {
    Quantity.TEMPERATURE: Span(5.0, 45.0, 18.0, 34.0),
    Quantity.PH: Span(2.0, 11.0, 3.5, 9.0),
    Quantity.CONDUCTIVITY: Span(0.0, 20_000.0, 1.0, 2_000.0),
    Quantity.OXYGEN: Span(0.0, 20.0, 2.0, 14.0),
    Quantity.LEVEL: Span(0.0, 5_000.0, 0.0, 5_000.0),
    Quantity.FLOW: Span(0.0, 20_000.0, 0.0, 20_000.0),
    Quantity.LIGHT: Span(0.0, 200_000.0, 0.0, 150_000.0),
    Quantity.HUMIDITY: Span(0.0, 100.5, 5.0, 100.0),
    Quantity.AMMONIA_TOTAL: Span(0.0, 100.0, 0.0, 5.0),
    Quantity.POWER: Span(0.0, 10_000.0, 0.0, 5_000.0),
    Quantity.AMMONIA_FREE: Span(0.0, 100.0, 0.0, 5.0),
    Quantity.OXYGEN_PERCENT: Span(0.0, 300.0, 20.0, 160.0),
    Quantity.DIOXIDE: Span(0.0, 2_000.0, 0.0, 200.0),
}
AIR = Span(-30.0, 60.0, 2.0, 45.0)  # temperature of the room's air

SPIKES: dict[Quantity, tuple[float, float]] = {
    # differential test: suspect, bad; the figures of the shared soft-water proposal, others assumed
    Quantity.TEMPERATURE: (0.5, 1.5),
    Quantity.PH: (0.15, 0.4),
    Quantity.OXYGEN: (1.0, 3.0),
    Quantity.CONDUCTIVITY: (50.0, 200.0),
}


def sensor_code(raw: float) -> str:
    """What a broken sensor means by `raw`, or empty when it is just a number."""
    if math.isnan(raw):
        return "no number"
    if math.isinf(raw):
        return "an endless number"
    if raw == 85.0:
        return "85.0, the sensor's power-on value: it lost its supply"
    if raw == -127.0:
        return "-127.0, the sensor's code for a broken wire"
    return ""
