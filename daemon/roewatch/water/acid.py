"""An acid dose: what strong acid does to alkalinity, to pH now, and to pH after the bounce."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from roewatch.water import carbonate
from roewatch.water.carbonate import Balance
from roewatch.water.conductivity import BICARBONATE_S
from roewatch.water.refusal import RefusedError, within
from roewatch.water.source import Makeup

ORDER_OF_WORK: tuple[str, ...] = (
    "Gloves and eye protection on, window open, no bleach or chlorine product in the room.",
    (
        "Unplug heater, pump and lights before hands go in; check drip loops and the "
        "residual-current device before plugging in again."
    ),
    "Dilute first: pour the acid into water, never water into acid. At least 1 part in 100.",
    "Dose a vat, not a tank with animals. Stir, then air it until pH stands still.",
    "Read KH and pH again before the water is used; the sum on paper is not the measurement.",
    (
        "Strong acid is for people trained to handle it: follow the bottle's safety sheet and "
        "local rules for buying, keeping and disposal."
    ),
)
"""Said every time an acid dose is shown, in the order of the work."""


class Acid(StrEnum):
    """Strong acids the sums hold for. The text value is what is typed."""

    HYDROCHLORIC = "HCl"
    SULPHURIC = "H2SO4"


_EQUIVALENTS = {Acid.HYDROCHLORIC: 1.0, Acid.SULPHURIC: 2.0}
# limiting conductance of the anion, S cm²/eq at 25 °C: CRC Handbook
_ANION_S = {Acid.HYDROCHLORIC: 76.31, Acid.SULPHURIC: 80.0}
_G_MOL = {Acid.HYDROCHLORIC: 36.46, Acid.SULPHURIC: 98.08}


def normality(acid: Acid, *, percent_by_weight: float, kg_per_litre: float) -> float:
    """Equivalents in a litre of bottled acid, from what its label says.

    percent_by_weight: 0.1-98. kg_per_litre: 0.99-1.85, from the label or safety sheet.
    Raises RefusedError outside. Source: definition; molar masses IUPAC 2021.
    """
    within(percent_by_weight, 0.1, 98.0, what="strength", unit="% by weight")
    within(kg_per_litre, 0.99, 1.85, what="density", unit="kg/L")
    moles = 1000.0 * kg_per_litre * percent_by_weight / 100.0 / _G_MOL[acid]
    return moles * _EQUIVALENTS[acid]


def acidified(makeup: Makeup, *, dose: float, acid: Acid = Acid.HYDROCHLORIC) -> Makeup:
    """The water after `dose` meq/L of strong acid, before any CO2 has left.

    Alkalinity falls by the dose, dissolved carbon stays. dose: 0-20.
    In conductivity the acid's anion takes the place of bicarbonate (limiting conductances, so
    a few per cent high in hard water); free acid is added where pH is known.
    Raises RefusedError outside.
    """
    within(dose, 0.0, 20.0, what="acid dose", unit="meq/L")
    ions = makeup.ions
    if acid is Acid.HYDROCHLORIC:
        ions = replace(ions, chloride=ions.chloride + dose)
    else:
        ions = replace(ions, sulphate=ions.sulphate + dose / 2.0)
    conductivity = makeup.conductivity
    if conductivity is not None:
        lost = min(dose, max(makeup.alkalinity, 0.0))
        conductivity += dose * _ANION_S[acid] - lost * BICARBONATE_S
    return replace(
        makeup, alkalinity=makeup.alkalinity - dose, ions=ions, conductivity=conductivity
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AcidDose:
    """What a dose does.

    dose: meq/L. before, at_once, after_air: balances before, just stirred in, and at rest with
    the room's air. freed_co2: mg/L that leaves between the last two (negative: taken up).
    low_ph, high_ph: aired pH if alkalinity was 5 % + 0.01 meq/L less or more than measured.
    """

    dose: float
    before: Balance
    at_once: Balance
    after_air: Balance
    low_ph: float
    high_ph: float

    @property
    def freed_co2(self) -> float:
        """CO2, mg/L, that leaves the water on the way from stirred in to aired."""
        return (self.at_once.dic - self.after_air.dic) * carbonate.CO2_G_MOL

    @property
    def bounce(self) -> float:
        """How far pH climbs back while CO2 leaves."""
        return self.after_air.ph - self.at_once.ph


def of_dose(
    makeup: Makeup,
    *,
    dose: float,
    acid: Acid = Acid.HYDROCHLORIC,
    pco2: float = carbonate.ROOM_UATM,
    celsius: float | None = None,
) -> AcidDose:
    """What `dose` meq/L of strong acid does to this water, at its or another temperature.

    Errors as `acidified` and `carbonate.closed`.
    """
    after = acidified(makeup, dose=dose, acid=acid)
    off = 0.05 * abs(makeup.alkalinity) + 0.01
    return AcidDose(
        dose=dose,
        before=makeup.closed(celsius=celsius),
        at_once=after.closed(celsius=celsius),
        after_air=after.aired(pco2=pco2, celsius=celsius),
        low_ph=_aired(after, -off, pco2, celsius),
        high_ph=_aired(after, off, pco2, celsius),
    )


def _aired(makeup: Makeup, by: float, pco2: float, celsius: float | None) -> float:
    return replace(makeup, alkalinity=makeup.alkalinity + by).aired(pco2=pco2, celsius=celsius).ph


def for_ph(
    makeup: Makeup,
    *,
    ph: float,
    acid: Acid = Acid.HYDROCHLORIC,
    pco2: float = carbonate.ROOM_UATM,
    celsius: float | None = None,
) -> AcidDose:
    """The dose that brings this water to `ph` once aired.

    Raises RefusedError when it is there already or below, or when the error of an ordinary KH
    reading would swing the aired pH by more than one unit: then only a bench titration will do.
    """
    within(ph, 4.0, 9.0, what="wanted pH")
    warmth = makeup.celsius if celsius is None else celsius
    wanted = makeup.alkalinity
    for _ in range(8):  # the acid's anion changes activity a very little
        ions = acidified(makeup, dose=max(makeup.alkalinity - wanted, 0.0), acid=acid).ions
        before = wanted
        wanted = carbonate.alkalinity_for_aired_ph(ph=ph, pco2=pco2, celsius=warmth, ions=ions)
        if abs(wanted - before) < 1e-9:
            break
    dose = makeup.alkalinity - wanted
    if dose <= 0.0:
        rests = makeup.aired(pco2=pco2, celsius=celsius).ph
        raise RefusedError(
            f"aired, this water already rests at pH {rests:.2f}; acid cannot raise it to {ph:g}."
        )
    found = of_dose(makeup, dose=dose, acid=acid, pco2=pco2, celsius=celsius)
    if found.high_ph - found.low_ph > 1.0:
        raise RefusedError(
            f"pH {ph:g} leaves {wanted:.3f} meq/L of alkalinity, and the error of an ordinary KH "
            f"reading would land it anywhere from {found.low_ph:.1f} to {found.high_ph:.1f}. "
            "Titrate one litre of the very water on the bench, airing after each step."
        )
    return found


def in_days(
    makeup: Makeup,
    *,
    dose: float,
    fall_per_day: float,
    acid: Acid = Acid.HYDROCHLORIC,
    pco2: float = carbonate.ROOM_UATM,
    celsius: float | None = None,
) -> tuple[AcidDose, ...]:
    """The dose split over days so that pH, stirred in and aired, falls at most so far a day.

    Starts from the water at rest with the room's air. fall_per_day: pH units, 0.05-2.
    Raises RefusedError if it takes more than 60 days.
    """
    within(fall_per_day, 0.05, 2.0, what="most pH fall a day")
    within(dose, 0.0, 20.0, what="acid dose", unit="meq/L")
    days: list[AcidDose] = []
    left, here = dose, makeup
    while left > 1e-9:
        rest = here.aired(pco2=pco2, celsius=celsius)
        here = replace(here, dic=rest.dic)
        share = _largest(here, left, rest.ph - fall_per_day, acid, celsius)
        days.append(of_dose(here, dose=share, acid=acid, pco2=pco2, celsius=celsius))
        here = acidified(here, dose=share, acid=acid)
        left -= share
        if len(days) > 60:
            raise RefusedError(
                f"at {fall_per_day:g} pH a day this dose takes more than 60 days. "
                "Start from softer water instead."
            )
    return tuple(days)


def _largest(makeup: Makeup, most: float, floor: float, acid: Acid, celsius: float | None) -> float:
    """The largest dose up to `most` that leaves stirred-in pH at or above `floor`."""

    def holds(dose: float) -> bool:
        return acidified(makeup, dose=dose, acid=acid).closed(celsius=celsius).ph >= floor

    if holds(most):
        return most
    low, high = 0.0, most
    for _ in range(40):
        middle = (low + high) / 2.0
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def millilitres(*, dose: float, litres: float, normal: float) -> float:
    """mL of acid of `normal` eq/L for `dose` meq/L in `litres` of water.

    Raises RefusedError for a strength above 2 eq/L: dilute it first, drops cannot be measured.
    """
    within(litres, 0.01, 1e6, what="litres of water", unit="L")
    if not 0.001 <= normal <= 2.0:
        raise RefusedError(
            f"acid of {normal:g} eq/L cannot be dosed safely. Dilute it to 0.1 to 1 eq/L first: "
            "acid into water."
        )
    return dose * litres / normal


def cautions(doses: Sequence[AcidDose]) -> tuple[str, ...]:
    """What to mind about these doses, besides `ORDER_OF_WORK`."""
    found: list[str] = []
    last = doses[-1]
    if last.bounce > 0.2:
        found.append(
            f"pH shows {last.at_once.ph:.2f} at first and climbs to {last.after_air.ph:.2f} as CO2 "
            "leaves. The low reading is not the result; do not add more because it came back."
        )
    if last.at_once.co2_mg > 30.0:
        found.append(
            f"Stirred in, the water holds {last.at_once.co2_mg:.0f} mg/L of CO2: animals would "
            "suffocate. Air it before use, and ventilate the room."
        )
    if last.after_air.alkalinity < 0.05:
        found.append(
            "Less than 0.05 meq/L of alkalinity is left: pH can crash. The last twentieth of the "
            "alkalinity moves pH by more than one unit."
        )
    if last.high_ph - last.low_ph > 0.3:
        found.append(
            f"If the KH reading is off by its usual error, aired pH lies between "
            f"{last.low_ph:.1f} and {last.high_ph:.1f}: give half, read again, then the rest."
        )
    return tuple(found)
