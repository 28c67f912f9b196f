"""A bench titration: drops of an extract against pH in one litre, turned into a dose for the tank.

Leaf, cone and peat extracts vary many-fold, so no dose is ever reckoned from a count of leaves.
The keeper titrates one litre of the very blend, airing after every step until pH stands still:
a closed bottle gives a different, useless answer because the CO2 it frees cannot leave.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from roewatch.room.measured import LITRES, measured
from roewatch.water.curve import read_smooth
from roewatch.water.refusal import RefusedError, within

BENCH_STEPS: tuple[str, ...] = (
    (
        f"Mix {measured('1', LITRES)} of the real blend and air it until pH stands still. Note it "
        "as 0 mL."
    ),
    "Add the extract, or the diluted acid, in five to eight equal small steps.",
    "After each step air until pH moves less than 0.02 in 10 min; note mL and pH.",
    "Stop one step past the pH you want: nothing is read beyond the last step.",
    (
        "Give the tank half of the dose, wait a day, measure, then give the rest inside the day's "
        "limit."
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchStep:
    """One step. ml: added to the litre so far, in all. ph: once it stood still, aired."""

    ml: float
    ph: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchDose:
    """A dose read off the bench curve.

    per_litre: mL/L. total: mL for the tank. first_half: mL to give today. low, high: mL/L if pH was
    misread by 0.05 either way, within the steps made.
    """

    per_litre: float
    total: float
    first_half: float
    low: float
    high: float
    cautions: tuple[str, ...]


_LEAST_STEPS = 5
_WIGGLE = 0.02  # a rise this small between steps is reading error, not chemistry


def dose(steps: Sequence[BenchStep], *, ph: float, litres: float) -> BenchDose:
    """mL for `litres` of tank to reach `ph`, by a monotone curve through the bench steps.

    Raises RefusedError for fewer than five steps, steps whose pH rises by more than 0.02, a
    first step that is not 0 mL, or a pH beyond the last step.
    """
    within(litres, 0.1, 100_000.0, what="tank volume", unit="L")
    ordered = sorted(steps, key=lambda step: step.ml)
    _refuse_bad(ordered, ph)
    fallen = _never_rising(ordered)
    xs, ys = [-step.ph for step in fallen], [step.ml for step in fallen]
    per_litre = read_smooth(xs, ys, -ph)
    low = read_smooth(xs, ys, -min(ph + 0.05, fallen[0].ph))
    high = read_smooth(xs, ys, -max(ph - 0.05, fallen[-1].ph))
    cautions = [
        "The curve holds for this batch of extract and this blend only. A new batch, a new bench."
    ]
    if high - low > 0.3 * per_litre:
        cautions.append(
            f"A pH misread by 0.05 alone makes it {low:.2f} to {high:.2f} mL/L: take smaller "
            "steps near the wanted pH."
        )
    steepest = max((a.ph - b.ph) for a, b in pairwise(fallen))
    if steepest > 0.5:
        cautions.append(
            f"One step moved pH by {steepest:.2f}: the buffer gives way there. Add half steps "
            "around it before trusting the dose."
        )
    return BenchDose(
        per_litre=per_litre,
        total=per_litre * litres,
        first_half=per_litre * litres / 2.0,
        low=low,
        high=high,
        cautions=tuple(cautions),
    )


def _refuse_bad(ordered: Sequence[BenchStep], ph: float) -> None:
    if len(ordered) < _LEAST_STEPS:
        raise RefusedError(
            f"{len(ordered)} steps given; the curve needs {_LEAST_STEPS} or more. "
            "Add smaller steps."
        )
    if ordered[0].ml != 0.0:
        raise RefusedError("the first step must be 0 mL: the aired blend before anything is added.")
    for before, after in pairwise(ordered):
        if after.ml == before.ml:
            raise RefusedError(f"two steps at {after.ml:g} mL. Keep one.")
        if after.ph > before.ph + _WIGGLE:
            raise RefusedError(
                f"pH rises from {before.ph:.2f} to {after.ph:.2f} between {before.ml:g} and "
                f"{after.ml:g} mL. It had not settled; repeat that step with more air."
            )
    first, last = ordered[0].ph, ordered[-1].ph
    if not last <= ph <= first:
        raise RefusedError(
            f"pH {ph:g} lies outside the bench series, {last:.2f} to {first:.2f}. "
            "Carry the series on past the wanted pH; it is never guessed."
        )


def _never_rising(ordered: Sequence[BenchStep]) -> list[BenchStep]:
    """Steps that truly fell, so that pH can be read backwards; flat ones are passed over."""
    kept = [ordered[0]]
    for step in ordered[1:]:
        if step.ph < kept[-1].ph:
            kept.append(step)
    return kept


def gran_alkalinity(
    readings: Sequence[BenchStep], *, sample_ml: float, acid_normality: float
) -> float:
    """Alkalinity, meq/L, of thin water by Gran's plot.

    readings: mL of acid and pH; only those between pH 3.5 and 4.3 are used, at least three.
    (V0 + V) 10^-pH is straight in V there; where it meets nought lies the equivalence point.
    acid_normality: eq/L of the titrant. Meant for water below 0.4 meq/L, where no drop kit sees it.
    Raises RefusedError with fewer than three usable points or a point that strays over 5 %.
    Source: Gran 1952, Analyst 77:661-671.
    """
    within(sample_ml, 1.0, 10_000.0, what="sample", unit="mL")
    within(acid_normality, 1e-4, 1.0, what="titrant", unit="eq/L")
    used = [r for r in readings if 3.5 <= r.ph <= 4.3]
    if len(used) < 3:
        raise RefusedError(
            f"{len(used)} readings lie between pH 3.5 and 4.3; three or more are needed. "
            "Titrate further in smaller steps."
        )
    xs = [r.ml for r in used]
    ys = [(sample_ml + r.ml) * float(10.0**-r.ph) for r in used]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / sum(
        (x - mean_x) ** 2 for x in xs
    )
    if slope <= 0.0:
        raise RefusedError("pH does not fall as acid is added. Check the order of the readings.")
    for x, y in zip(xs, ys, strict=True):
        if abs(mean_y + slope * (x - mean_x) - y) > 0.05 * max(ys):
            raise RefusedError(f"the reading at {x:g} mL strays from the line. Repeat the series.")
    equivalence = mean_x - mean_y / slope
    return equivalence * acid_normality / sample_ml * 1000.0
