"""A brood of 45 days through all stages, kept by commands alone; some minutes.

    python -m tests.bench.brood_by_commands [--step-min 20]

The keeper looks every 3 h over eggs, every 8 h over larvae and every 12 h over fry.

Simulated water with its thermostat, room nights and one dead heater; the eggs follow a rule of
their own over the true water. Daemon, judge, alarm book, store and control socket are real, on a
clock moved by hand. Prints what the clocks said against what came true, the alarms with the stage
they rang in, and the to-dos in the order in which they were asked and done. Exit 1 when a hatch or
free-swimming fell outside a window that was told.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.journeys.brood_life import (
    TANK,
    BroodLife,
    Look,
    brood_life,
    conditions_and_spawns,
    from_eggs,
)

from roewatch.room.local_time import local_clock
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch_sim.fault import FaultKind

ZONE = "Europe/Tallinn"
DAYS = 45


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--step-min", type=int, default=20)
    given = parser.parse_args()
    began_s = time.monotonic()
    with (
        tempfile.TemporaryDirectory() as folder,
        brood_life(Path(folder), step_ms=given.step_min * MINUTE_MS) as life,
    ):
        missed = lived(life)
        print(
            f"\n{DAYS} days, {life.told.rounds} rounds, {life.told.commands} commands in "
            f"{time.monotonic() - began_s:.0f} s"
        )
    return 1 if missed else 0


def lived(life: BroodLife, *, look_every_ms: int | None = None) -> int:
    """The whole of it; returns how many looks told a window that the truth then missed."""
    begin_ms = life.now_ms
    end_ms = begin_ms + DAYS * DAY_MS
    conditions_and_spawns(life, days=7)
    spawned_ms = life.told.truth["spawned"]

    def looking(until_ms: int, hours: int) -> None:
        from_eggs(life, until_ms=until_ms, look_every_ms=look_every_ms or hours * HOUR_MS)

    looking(spawned_ms + 36 * HOUR_MS, 3)
    looking(spawned_ms + 3 * DAY_MS, 8)
    life.fails(FaultKind.HEATER_DEAD, hours=7)  # over larvae: swimming comes later
    looking(life.now_ms + 8 * HOUR_MS, 8)
    life.warms_to(24.6)  # a new heater, set as the old one was
    looking(spawned_ms + 7 * DAY_MS, 8)
    looking(end_ms - HOUR_MS, 12)
    if any(stage == "growing" for _, stage in life.told.proposed):
        life.says("stage", TANK, "growing")
    life.says("count", TANK, "moved-on", "50")
    life.says("end", TANK, "reared", "--to", "50 young")
    missed = sum(told_of(life, leg) for leg in ("hatch", "free-swimming"))
    rest(life, begin_ms)
    return missed


def told_of(life: BroodLife, leg: str) -> int:
    truth_ms = life.told.truth[leg]
    looks = [look for look in life.told.looks if look.leg == leg and look.at_ms < truth_ms]
    print(f"\n{leg}: came true {clock(truth_ms, truth_ms)}, {len(looks)} looks before it")
    print("  h before   window h   likely off by h   true inside")
    shown = [*looks[:: max(len(looks) // 6, 1)][:6], looks[-1]]
    for look in shown:
        off = (look.likely_ms - truth_ms) / HOUR_MS
        ahead = (truth_ms - look.at_ms) / HOUR_MS
        print(f"  {ahead:8.1f} {look.width_h:10.1f} {off:+17.1f}   {inside(look, truth_ms)}")
    missed = sum(not inside(look, truth_ms) for look in looks)
    print(f"  true moment inside the window told: {len(looks) - missed} of {len(looks)} looks")
    return missed


def inside(look: Look, truth_ms: int) -> bool:
    return look.from_ms <= truth_ms <= look.to_ms


def rest(life: BroodLife, begin_ms: int) -> None:
    told = life.told

    def day(at_ms: int) -> str:
        return f"day {(at_ms - begin_ms) / DAY_MS:5.2f}"

    (seen,) = life.sees("show", "2026-1")
    entered = sorted(
        (r["at_ms"], r["act"])
        for r in seen["records"]
        if r["stands"] and r["act"] in {"started", "stage", "spawned", "hatched", "swimming"}
    )
    stages = ("conditioning", "spawning", "eggs", "larvae", "fry", "growing")
    print(
        "\nstages: "
        + "; ".join(f"{s} {day(at)}" for (at, _), s in zip(entered, stages, strict=False))
    )
    print("\nalarms, with the stage they rang in")
    for at_ms, stage, words in told.alarms:
        print(f"  {day(at_ms)}  {stage:12} {words}")
    print("\nproposed: " + "; ".join(f"{stage} {day(at)}" for at, stage in told.proposed))
    print("\nthe live-food calendar moved, first words of it")
    for at_ms, line in told.moved[:6]:
        print(f"  {day(at_ms)}  {line}")
    done = {key: at for at, key in told.done}
    print("\nto-dos in the order asked")
    for at_ms, key in told.asked:
        after = f"done {day(done[key])}" if key in done else "a rule, or not done"
        print(f"  {day(at_ms)}  {key:28} {after}")
    print(f"\nlate at a look: {len(told.late)}")
    for at_ms, key, hours in told.late:
        print(f"  {day(at_ms)}  {key}: {hours:.1f} h")
    print(f"\noutcome {seen['outcome']}, counts {seen['counts']}")


def clock(at_ms: int, now_ms: int) -> str:
    return local_clock(at_ms, ZONE, now_ms + DAY_MS)


if __name__ == "__main__":
    sys.exit(main())
