"""Run: python -m tests.bench.detection FAMILY SEED... [--healthy] [--days N] [--every S] …

Plays rooms with labelled faults through the judge and prints the figures a keeper would ask for.
"""

import argparse
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import islice

from tests.bench.detection.notices import rung
from tests.bench.detection.rooms import DAYS, FAMILIES, START, bench_room
from tests.bench.detection.score import Score, report, score

from roewatch.intake.decode import Ahead
from roewatch.intake.own_time import AHEAD_MS
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS, SECOND_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM, Probe, Room, Tank
from roewatch_sim.room import SimRoom

Event = Reading | JournalEntry | Ahead


def settings_of(sim: SimRoom) -> Room:
    """The settings a keeper would have written for the simulated room."""
    tanks = tuple(
        Tank(id=t.id, litres=t.spec.heat.litres, heater_watts=t.spec.heat.heater_watts,
             stage=t.spec.stage, windows=t.spec.windows)
        for t in sim.tanks.values()
    )  # fmt: skip
    probes = [
        Probe(id=f"{t.id}-{p.quantity}", tank=t.id, quantity=p.quantity, every_ms=sim.every_ms)
        for t in sim.tanks.values()
        for p in t.probes
    ]
    air = Probe(id="room-air", tank=ROOM, quantity=Quantity.TEMPERATURE, every_ms=sim.every_ms)
    return Room(id="bench", name="bench", zone="UTC", tanks=tanks, probes=(*probes, air))


def play(family: str, seed: int, days: int, *, faults: bool = True, every_s: int = 60) -> Score:
    """One room from start to end, its probes read every so many seconds."""
    sim, labels = bench_room(family, seed, days=days, faults=faults)
    sim.every_ms = every_s * SECOND_MS
    room = settings_of(sim)
    judge = Judge(room, start_ms=START)
    findings: list[Finding] = []
    spent = 0.0
    readings = 0
    coming = events(sim, START + days * DAY_MS)
    while batch := list(islice(coming, 20_000)):
        spent += _judge(judge, batch, findings)
        readings += len(batch)
    print(f"{family} {seed}: {readings:,} readings, {readings / spent:,.0f}/s", file=sys.stderr)
    told = rung(room, findings, from_ms=START, days=days)
    return score(findings, labels, sim.excursions, days, told)


def events(sim: SimRoom, to_ms: int) -> Iterator[Event]:
    """What reaches the judge of the simulated room, in order: what was read, and the journal."""
    names = {
        (t.id, p.quantity): f"{t.id}-{p.quantity}" for t in sim.tanks.values() for p in t.probes
    }
    names[ROOM, Quantity.TEMPERATURE] = "room-air"
    entered = 0
    for sample in sim.run(to_ms):
        while entered < len(sim.journal):
            yield sim.journal[entered]
            entered += 1
        probe, at_ms = names[sample.tank, sample.quantity], sample.stamp_ms
        if at_ms > sample.at_ms + AHEAD_MS:  # as the intake has it: kept when it came
            yield Ahead(probe, sample.at_ms, at_ms - sample.at_ms)
            at_ms = sample.at_ms
        yield Reading(probe, at_ms, sample.value)


def _judge(judge: Judge, batch: list[Event], findings: list[Finding]) -> float:
    begun = time.perf_counter()
    take = judge.take
    for event in batch:
        if isinstance(event, JournalEntry):
            findings += judge.enter(event)
            continue
        if isinstance(event, Ahead):
            judge.note_ahead(*event)
            continue
        found = take(event).findings
        if found:
            findings += found
    return time.perf_counter() - begun


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("family", choices=list(FAMILIES))
    parser.add_argument("seeds", nargs="+", type=int)
    parser.add_argument("--days", type=int, default=DAYS)
    parser.add_argument("--verbose", action="store_true")
    parser.add_argument("--healthy", action="store_true", help="no fault at all")
    parser.add_argument("--every", type=int, default=60, help="seconds between readings")
    parser.add_argument("--workers", type=int, default=2, help="rooms played at once")
    asked = parser.parse_args()
    with ProcessPoolExecutor(max_workers=asked.workers) as pool:
        one = partial(play, asked.family, days=asked.days, faults=not asked.healthy,
                      every_s=asked.every)  # fmt: skip
        scores = list(pool.map(one, asked.seeds))
    print(report(scores, verbose=asked.verbose))


if __name__ == "__main__":
    main()
