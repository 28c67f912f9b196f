"""Carbon dioxide from a KH kit and a pH, and when that must not be believed."""

from dataclasses import dataclass

from roewatch.room.measured import carbonate_hardness
from roewatch.water import carbonate, equilibrium
from roewatch.water.hardness import meq_of_dkh
from roewatch.water.ions import ions_of_kits
from roewatch.water.refusal import RefusedError, within

LEAST_PH = 6.0
LEAST_DKH = 1.0
HARMFUL_MG = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Dioxide:
    """Dissolved CO2, mg/L, and where it may lie with pH off by 0.1 and KH by 5 % + 0.1."""

    mg: float
    low: float
    high: float
    pco2: float
    cautions: tuple[str, ...]


def from_kh(
    *,
    ph: float,
    dkh: float,
    celsius: float,
    dgh: float = 0.0,
    tannin: bool = False,
    phosphate: bool = False,
) -> Dioxide:
    """CO2, mg/L, from °dKH and pH with the true constant for this water and temperature.

    ph: 6-8.5. dkh: 1-25. celsius: 0-50. tannin: tea-coloured or given leaves, cones, peat.
    phosphate: buffered or fertilised with it.
    The drop kit counts every base down to pH 4.5, so with organic acids or phosphate it reads
    bicarbonate that is not there and the sum can be 4 to 46 times too high: refused below pH 6 or
    1 dKH, and when tannin or phosphate is flagged.
    Source: carbonate balance as `carbonate.of_ph`. Raises RefusedError.
    """
    for flagged, name in ((tannin, "tannins"), (phosphate, "phosphate")):
        if flagged:
            raise RefusedError(
                f"with {name} in the water the KH kit counts more than bicarbonate, and this sum "
                "would show several times too much CO2. Compare pH before and after a day of air."
            )
    if ph < LEAST_PH or dkh < LEAST_DKH:
        raise RefusedError(
            f"below pH {LEAST_PH:g} or {carbonate_hardness(LEAST_DKH)} the sum cannot be trusted "
            f"(pH {ph:.2f}, {carbonate_hardness(dkh, '.2f')}): it can be several times too high. "
            "Compare pH before and after a day of air, or use a CO2 meter."
        )
    within(ph, LEAST_PH, 8.5, what="pH")
    within(dkh, LEAST_DKH, 25.0, what="carbonate hardness", unit="°dKH")
    alkalinity = meq_of_dkh(dkh)
    here = _balance(ph, alkalinity, celsius, dgh)
    off = 0.05 * alkalinity + meq_of_dkh(0.1)
    low = _balance(ph + 0.1, alkalinity - off, celsius, dgh)
    high = _balance(ph - 0.1, alkalinity + off, celsius, dgh)
    cautions = []
    if here.co2_mg > HARMFUL_MG:
        cautions.append(
            f"Over {HARMFUL_MG:g} mg/L is harmful to most fish. Air the water now; if gas is "
            "injected, shut it and ventilate the room."
        )
    if ph > 8.0:
        cautions.append("Above pH 8 there is too little CO2 to tell one reading from another.")
    return Dioxide(
        mg=here.co2_mg,
        low=low.co2_mg,
        high=high.co2_mg,
        pco2=here.pco2,
        cautions=tuple(cautions),
    )


def _balance(ph: float, alkalinity: float, celsius: float, dgh: float) -> carbonate.Balance:
    ions = ions_of_kits(dgh=dgh, alkalinity=alkalinity)
    return carbonate.of_ph(ph=ph, alkalinity=alkalinity, celsius=celsius, ions=ions)


def resting(*, pco2: float, celsius: float) -> float:
    """CO2, mg/L, of any fresh water at rest with air of `pco2` µatm."""
    within(pco2, 1.0, 100_000.0, what="CO2 of the air", unit="µatm")
    return equilibrium.constants(celsius).co2_gas * pco2 / 1000.0 * carbonate.CO2_G_MOL
