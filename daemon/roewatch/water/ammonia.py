"""Ammonia: the un-ionised share of the total, and what a change of pH would make of it.

Total ammonia (TAN) is kept as mg/L of nitrogen, which is what `ammonia_total` probes store.
"""

import math
from dataclasses import dataclass

from roewatch.room.stage import YOUNG, Stage
from roewatch.room.window import Basis
from roewatch.water.refusal import within
from roewatch.water.unit import kelvin

NH3_PER_N = 17.031 / 14.007
"""mg of NH3 that hold 1 mg of nitrogen: 1.2159."""
NH4_PER_N = 18.038 / 14.007
"""mg of NH4+ that hold 1 mg of nitrogen: 1.2878."""


def pka(celsius: float) -> float:
    """pKa of ammonium in fresh water, 0-50 °C.

    Source: Emerson, Russo, Lund and Thurston 1975, J. Fish. Res. Board Can. 32:2379-2383.
    Some reprints carry the constant as 2727.92; that is 1.5 % off at pH 8 and 25 °C.
    Raises RefusedError outside 0-50 °C.
    """
    within(celsius, 0.0, 50.0, what="water temperature", unit="°C")
    return 0.09018 + 2729.92 / kelvin(celsius)


def unionised_fraction(*, ph: float, celsius: float) -> float:
    """Share of total ammonia that is un-ionised NH3, 0 to 1, fresh water near zero salt.

    Range 0-50 °C, pH 0-14. Published sets differ by up to 2.5 %, which is 0.01 pH.
    Raises RefusedError outside the range. Source: as `pka`.
    """
    within(ph, 0.0, 14.0, what="pH")
    return 1.0 / (1.0 + float(10.0 ** (pka(celsius) - ph)))


def unionised_n(*, total_n: float, ph: float, celsius: float) -> float:
    """Un-ionised ammonia as mg/L of nitrogen, from total ammonia as mg/L of nitrogen.

    Raises RefusedError for a negative total, or outside the range of `unionised_fraction`.
    """
    within(total_n, 0.0, 1000.0, what="total ammonia", unit="mg/L N")
    return total_n * unionised_fraction(ph=ph, celsius=celsius)


@dataclass(frozen=True, slots=True, kw_only=True)
class AmmoniaLimit:
    """Most un-ionised ammonia for a stage, mg/L as NH3; how well founded, and where from."""

    nh3: float
    basis: Basis
    source: str


_HOLDING_LIMIT = AmmoniaLimit(
    nh3=0.02,
    basis=Basis.PUBLISHED,
    source="working limit of zebrafish units: NH3 below 0.02 mg/L",
)
_YOUNG_LIMIT = AmmoniaLimit(
    nh3=0.005,
    basis=Basis.FROM_MEMORY,
    source="guide value once used for European fish waters, 0.005 mg/L NH3; from memory, "
    "taken for young that cannot be replaced",
)


def limit_for(stage: Stage) -> AmmoniaLimit:
    """The limit of un-ionised ammonia for a stage: stricter for eggs, larvae and fry.

    No safe value is published for most of these species; a review calls the true one unknown.
    """
    return _YOUNG_LIMIT if stage in YOUNG else _HOLDING_LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class AmmoniaVerdict:
    """Un-ionised ammonia now, and after a pH change when one was asked about.

    nh3, after_nh3: mg/L as NH3. times: how many times more after the change.
    """

    nh3: float
    limit: AmmoniaLimit
    after_nh3: float | None = None
    times: float | None = None
    cautions: tuple[str, ...] = ()

    @property
    def over(self) -> bool:
        """Whether now or after the change lies above the limit."""
        return max(self.nh3, self.after_nh3 or 0.0) > self.limit.nh3


def judge(
    *,
    total_n: float,
    ph: float,
    celsius: float,
    stage: Stage = Stage.HOLDING,
    ph_after: float | None = None,
    celsius_after: float | None = None,
) -> AmmoniaVerdict:
    """Un-ionised ammonia against the stage's limit, now and after a planned change.

    In acid water the share is tiny but nitrification slows and total ammonia builds up, so a
    later alkaline change can multiply NH3 thirtyfold or more in minutes: the product after the
    change is what counts. ph_after, celsius_after: after the change, or None to judge only now.
    Raises RefusedError outside the range of `unionised_fraction`.
    """
    limit = limit_for(stage)
    nh3 = NH3_PER_N * unionised_n(total_n=total_n, ph=ph, celsius=celsius)
    cautions: list[str] = []
    after = times = None
    if ph_after is not None or celsius_after is not None:
        later_ph = ph if ph_after is None else ph_after
        later_celsius = celsius if celsius_after is None else celsius_after
        after = NH3_PER_N * unionised_n(total_n=total_n, ph=later_ph, celsius=later_celsius)
        times = unionised_fraction(ph=later_ph, celsius=later_celsius) / unionised_fraction(
            ph=ph, celsius=celsius
        )
        if times >= 3.0 and total_n > 0.0:
            cautions.append(
                f"The change makes un-ionised ammonia {times:.0f} times what it is now. "
                "Lower the total first: change water of the same pH, feed less."
            )
    if ph < 6.0:
        cautions.append(
            "Below pH 6 the bacteria that clear ammonia slow down, so the total may be building "
            "up unseen. Test the total before any change that raises pH."
        )
    if total_n > 0.0 and math.isclose(nh3, 0.0, abs_tol=5e-5):
        cautions.append("Un-ionised ammonia is below what a kit could show; the total is not.")
    return AmmoniaVerdict(
        nh3=nh3, limit=limit, after_nh3=after, times=times, cautions=tuple(cautions)
    )
