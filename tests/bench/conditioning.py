"""A conditioning as planned and as it went: `.venv/bin/python -m tests.bench.conditioning`.

The planner plans 14 days, pH 7.4 to 6.0 and 24 to 27 °C. The simulated keeper does each day's
step in a simulated tank whose chemistry is not the planner's: its own constants, lamps and fish
that move CO2 up and down, nitrification and evaporation no plan knows of. On two days the rest is
planned again from what the noisy probes and a KH kit show. Prints planned against measured, the
largest move of the true water within any 24 hours against what is allowed, and draws both.
`--out FILE` names the picture, `--seed N` plays other weather, probes and kits.

Chosen so that 14 days are enough: purified water with its hardness put back as chlorides, 60 µS/cm.
With bare rain of 10 µS/cm the planner refuses 14 days, held back by conductivity, and offers more.
The lamps alone move pH by 0.06 from night to day, which counts against the same limit: the keeper
reads that off the probe the day before and has the plan leave it free.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from statistics import fmean

from roewatch.breeding.pace import Followed, Moment, Pace, WaterState, hardest, paces
from roewatch.breeding.plan import Plan, Step
from roewatch.breeding.ramp import Ramp, RampRefusedError, RampStep, RampWish, draw, redraw
from roewatch.breeding.ramp_wish import SETTLED_MS
from roewatch.breeding.warming import reckoned
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.series import Series
from roewatch.room.stage import Stage
from roewatch.room.window import Window
from roewatch.water.hardness import dkh_of_meq
from roewatch.water.source import SourceWater
from roewatch_sim.heat import HeatSpec
from roewatch_sim.keeper import PlannedStep
from roewatch_sim.room import Sample, SimRoom
from roewatch_sim.tank import TankSpec, Truth
from roewatch_sim.water import WaterSpec

TANK, LITRES, WATTS = "A1", 54.0, 75.0
DAYS, REPLANNED = 14, (5, 10)
BEGIN_MS = at_ms_of_iso("2026-03-01T15:00:00Z")  # 17 h in the room
START_PH, START_C, START_US, START_DGH = 7.4, 24.0, 120.0, 3.0
END_PH, END_C, BAND = 6.0, 27.0, 0.05
RECIPE = SourceWater(
    name="purified water with chlorides of calcium and magnesium",
    alkalinity=0.005, dgh=2.0, conductivity=60.0, celsius=24.0, pco2=800.0,
)  # fmt: skip
PACES = paces(Stage.CONDITIONING)
MEASURED = (Quantity.TEMPERATURE, Quantity.PH, Quantity.CONDUCTIVITY)


@dataclass(slots=True)
class Course:
    """How it went. steps: as done, each from the plan in force that day. truth: every half hour.

    replanned: on which days, and what was said. samples: what the probes said.
    """

    steps: list[RampStep] = field(default_factory=list)
    ramps: list[Ramp] = field(default_factory=list)
    replanned: list[tuple[int, str]] = field(default_factory=list)
    samples: dict[Quantity, list[Sample]] = field(default_factory=dict)
    truth: list[Moment] = field(default_factory=list)
    ended: Truth | None = None

    def measured(self, at_ms: int, *, span_ms: int = 30 * MINUTE_MS) -> dict[Quantity, float]:
        """The mean of what each probe said in the span before `at_ms`."""
        return {
            quantity: fmean(s.value for s in said if at_ms - span_ms <= s.at_ms < at_ms)
            for quantity, said in self.samples.items()
        }


class Conditioning:
    """The keeper, with plan, probes and kits, before one simulated tank."""

    def __init__(self, seed: int = 1, days: int = DAYS) -> None:
        self.days = days
        self.course = Course(samples={quantity: [] for quantity in MEASURED})
        self.kit = Random(f"{seed}/kit")
        spec = TankSpec(
            id=TANK,
            heat=HeatSpec(litres=LITRES, heater_watts=WATTS, loss_w_per_k=5.5),
            water=WaterSpec(ph=START_PH, conductivity=START_US),
            set_c=START_C,
            quantities=MEASURED,
            stage=Stage.CONDITIONING,
        )
        self.room = SimRoom([spec], seed=seed, start_ms=BEGIN_MS - DAY_MS)

    def run(self) -> Course:
        """The whole conditioning, and a day of rest after it."""
        self._go(BEGIN_MS)
        wish = self._wish()
        ramp, day = draw(wish), 0
        self.course.ramps.append(ramp)
        steps = list(ramp.steps)
        while steps:
            if day in REPLANNED:
                steps = list(self._again(wish, day).steps)
            step = steps.pop(0)
            self._go(step.at_ms)
            self._do(step)
            self._go(step.at_ms + DAY_MS)
            day += 1
        self.course.ended = self.room.truth(TANK)
        return self.course

    def _wish(self) -> RampWish:
        return RampWish(
            tank=TANK,
            litres=LITRES,
            now=self._tested(),
            recipe=RECIPE.makeup,
            targets={Followed.PH: Window(low=END_PH - BAND, high=END_PH + BAND)},
            celsius=END_C,
            paces=PACES,
            first_ms=BEGIN_MS,
            days=self.days,
            ph_swing=self._swing(),
            warmth=reckoned(litres=LITRES, watts=WATTS, room_celsius=19.0, covered=True),
        )

    def _swing(self) -> float:
        """How far pH moved by itself in the day before, by half hours."""
        now_ms = self.room.clock_ms
        said = [
            self.course.measured(now_ms - half * 30 * MINUTE_MS)[Quantity.PH] for half in range(47)
        ]
        return max(said) - min(said)

    def _tested(self) -> SourceWater:
        """The tank by probes, and by a KH kit as good as a large sample makes it."""
        now = self.course.measured(self.room.clock_ms)
        truth = self.room.truth(TANK).alkalinity
        return SourceWater(
            name=TANK,
            ph=now[Quantity.PH],
            celsius=now[Quantity.TEMPERATURE],
            conductivity=now[Quantity.CONDUCTIVITY],
            alkalinity=max(truth * self.kit.gauss(1.0, 0.05) + self.kit.gauss(0.0, 0.002), 0.001),
            dgh=_dgh(now[Quantity.CONDUCTIVITY]) * self.kit.gauss(1.0, 0.05),
        )

    def _again(self, wish: RampWish, day: int) -> Ramp:
        """The rest planned again from what probes and kits show now, and what was gone through."""
        at_ms = self.room.clock_ms
        now = self._tested()
        try:
            ramp = redraw(
                wish, now=now, seen=list(self._seen(at_ms, now)), first_ms=at_ms,
                last_ms=BEGIN_MS + self.days * DAY_MS,
            )  # fmt: skip
            said = f"{ramp.days} days left"
        except RampRefusedError as refused:
            if refused.shortest is None:
                raise
            ramp, said = refused.shortest, str(refused)
        self.course.ramps.append(ramp)
        self.course.replanned.append((day, said))
        return ramp

    def _seen(self, at_ms: int, now: SourceWater) -> Iterator[Moment]:
        dkh = dkh_of_meq(now.alkalinity)
        for hours in range(24, 0, -2):
            was = self.course.measured(at_ms - hours * HOUR_MS)
            yield Moment(
                at_ms - hours * HOUR_MS,
                WaterState(
                    ph=was[Quantity.PH],
                    conductivity=was[Quantity.CONDUCTIVITY],
                    dgh=_dgh(was[Quantity.CONDUCTIVITY]),
                    dkh=dkh,  # no probe tells it; the plan held it within its pace
                    celsius=was[Quantity.TEMPERATURE],
                ),
            )

    def _do(self, step: RampStep) -> None:
        self.course.steps.append(step)
        self.room.plan_chore(
            PlannedStep(
                at_ms=step.at_ms, tank=TANK, share=step.fraction, set_c=step.thermostat,
                alkalinity=RECIPE.alkalinity, conductivity=RECIPE.conductivity or 0.0,
                co2_uatm=RECIPE.pco2,
            )
        )  # fmt: skip

    def _go(self, to_ms: int) -> None:
        while self.room.clock_ms < to_ms:
            until_ms = min(self.room.clock_ms + 30 * MINUTE_MS, to_ms)
            for sample in self.room.run(until_ms):
                if sample.tank == TANK:
                    self.course.samples[sample.quantity].append(sample)
            self.course.truth.append(_true(self.room.truth(TANK)))


def _dgh(conductivity: float) -> float:
    """Hardness by the salts: both mix in proportion, and the simulator has conductivity alone."""
    recipe_us = RECIPE.conductivity or 0.0
    way = (conductivity - recipe_us) / (START_US - recipe_us)
    return RECIPE.dgh + way * (START_DGH - RECIPE.dgh)


def _true(truth: Truth) -> Moment:
    return Moment(
        truth.at_ms,
        WaterState(
            ph=truth.ph,
            conductivity=truth.conductivity,
            dgh=_dgh(truth.conductivity),
            dkh=dkh_of_meq(truth.alkalinity),
            celsius=truth.celsius,
        ),
    )


def executed(seed: int = 1, days: int = DAYS) -> Course:
    """One conditioning, planned and done. Raises RampRefusedError for too few days."""
    return Conditioning(seed, days).run()


def largest_moves(truth: Sequence[Moment], kept: Sequence[Pace] = PACES) -> dict[Pace, float]:
    """The hardest the true water leaned on each pace, as a share of what it allows."""
    found = dict.fromkeys(kept, 0.0)
    for place, moment in enumerate(truth):
        first = max(place - 2 * 24 - 1, 0)
        for pace in kept:
            strain = hardest(truth[first:place], moment, [pace])
            if strain is not None:
                found[pace] = max(found[pace], strain.share)
    return found


def planned(course: Course, quantity: Quantity) -> Plan:
    """What was meant, day by day by the plan in force: before each change and once it settled."""
    name = {Quantity.PH: "ph", Quantity.TEMPERATURE: "celsius"}.get(quantity, quantity.value)
    steps = [
        Step(at_ms=at_ms, value=getattr(state, name))
        for step in course.steps
        for at_ms, state in (
            (step.at_ms, step.before),
            (step.at_ms + SETTLED_MS, step.settled),
        )
    ]
    last = course.steps[-1]
    steps.append(Step(at_ms=last.at_ms + DAY_MS, value=getattr(last.settled, name)))
    return Plan(tank=TANK, quantity=quantity, steps=steps)


def _series(course: Course, quantity: Quantity) -> Series:
    said = [s for s in course.samples[quantity] if s.at_ms >= BEGIN_MS - 6 * HOUR_MS]
    return Series(
        probe=f"a1-{quantity}", tank=TANK, quantity=quantity, every_ms=MINUTE_MS,
        from_ms=said[0].at_ms, to_ms=said[-1].at_ms, at_ms=[s.at_ms for s in said],
        value=[s.value for s in said], flag=[1] * len(said),
    )  # fmt: skip


def drawn(course: Course, quantity: Quantity, out: Path) -> None:
    """Planned and measured in one picture."""
    from roewatch.views import chart  # noqa: PLC0415  # heavy, and only for the picture

    series = _series(course, quantity)
    spec = chart.ChartSpec(
        id="conditioning", title=f"{TANK}: {KEPT[quantity].name}, planned and measured",
        quantity=quantity,
        from_ms=series.from_ms, to_ms=series.to_ms, now_ms=series.to_ms, zone="Europe/Tallinn",
        series=[series], plans=(planned(course, quantity),), width=900, height=320,
        events=tuple(
            chart.EventMark(at_ms=step.at_ms, letter="W", text=f"{step.fraction:.0%} changed")
            for step in course.steps if step.fraction
        ),
    )  # fmt: skip
    out.write_bytes(chart.png(chart.svg(spec)))


def told(course: Course) -> None:
    """Planned against measured, the largest moves, and the end."""
    print("day  change  set to    pH meant  measured    °C meant  measured   µS/cm meant  measured")
    for day, step in enumerate(course.steps):
        was, now = step.settled, course.measured(step.at_ms + DAY_MS)
        again = " planned again" if day in REPLANNED else ""
        print(
            f"{day + 1:3}  {step.fraction:5.0%}  {step.thermostat:5.2f} °C  {was.ph:8.2f}"
            f"  {now[Quantity.PH]:8.2f}    {was.celsius:8.2f}  {now[Quantity.TEMPERATURE]:8.2f}"
            f"   {was.conductivity:11.0f}  {now[Quantity.CONDUCTIVITY]:8.0f}{again}"
        )
    for day, said in course.replanned:
        print(f"planned again before day {day + 1}: {said}")
    print("\nThe true water at its quickest, as a share of each pace")
    since = [m for m in course.truth if m.at_ms >= BEGIN_MS - DAY_MS]
    for pace, share in largest_moves(since).items():
        print(f"  {share:4.0%} of {pace.text()}")
    end = course.ended
    assert end is not None
    print(f"\nThe end, truly: pH {end.ph:.2f}, {end.celsius:.1f} °C, {end.conductivity:.0f} µS/cm")


def main() -> None:
    """By command."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--days", type=int, default=DAYS)
    asked.add_argument("--out", type=Path, help="PNG of the pH; -temperature beside it")
    given = asked.parse_args()
    try:
        course = executed(given.seed, given.days)
    except RampRefusedError as refused:
        print(f"refused: {refused}", file=sys.stderr)
        raise SystemExit(1) from None
    told(course)
    if given.out is not None:
        for quantity in (Quantity.PH, Quantity.TEMPERATURE):
            out = given.out.with_stem(f"{given.out.stem}-{quantity}")
            drawn(course, quantity, out)
            print(f"drawn: {out}", file=sys.stderr)


if __name__ == "__main__":
    main()
