"""A brine: salt water for hatching Artemia."""

from dataclasses import dataclass

from roewatch.room.measured import CELSIUS, measured
from roewatch.water import oxygen
from roewatch.water.refusal import within


@dataclass(frozen=True, slots=True, kw_only=True)
class Brine:
    """What goes into one jar. salt, cysts, bicarbonate: grams. oxygen: mg/L it can hold."""

    salt: float
    cysts: float
    bicarbonate: float
    oxygen: float
    cautions: tuple[str, ...]


def of_jar(
    *,
    litres: float,
    salt_per_litre: float = 25.0,
    celsius: float = 27.0,
    cysts_per_litre: float = 2.0,
) -> Brine:
    """Salt, cysts and bicarbonate for a hatching jar.

    litres: 0.1-50. salt_per_litre: 5-35 g. celsius: 20-30. cysts_per_litre: 0.1-5 g. Grams a litre
    are near enough to g/kg here. Up to 1 g/L of bicarbonate keeps weak brine above pH 8.
    Source: ranges of FAO hatchery practice. Raises RefusedError outside.
    """
    within(litres, 0.1, 50.0, what="jar", unit="L")
    within(salt_per_litre, 5.0, 35.0, what="salt", unit="g/L")
    within(celsius, 20.0, 30.0, what="jar temperature", unit="°C")
    within(cysts_per_litre, 0.1, 5.0, what="cysts", unit="g/L")
    holds = oxygen.saturation(celsius=celsius, salinity=salt_per_litre)
    cautions = [
        (
            "Bubble from the bottom without a stone, light about 2000 lux, keep the plug and the "
            "lamp's lead above the water with a drip loop."
        ),
        f"Warm brine holds only {holds:.1f} mg/L of oxygen: never let the air stop.",
    ]
    if not 25.0 <= celsius <= 28.0:
        cautions.append(f"Outside {measured('25-28', CELSIUS)} they hatch late and unevenly.")
    if cysts_per_litre > 2.0:
        cautions.append("Above 2 g/L the hatch falls unless air is strong.")
    return Brine(
        salt=salt_per_litre * litres,
        cysts=cysts_per_litre * litres,
        bicarbonate=1.0 * litres if salt_per_litre < 20.0 else 0.0,
        oxygen=holds,
        cautions=tuple(cautions),
    )
