"""Run: python tests/bench/judging.py [--readings N]: how many readings a second one core judges.

Rooms of 10, 1,000 and 10,000 probes (a thermometer and an electrode a tank), read every 60 s and
every 10 s. CPU time is measured, so other work on the machine counts little; a plain loop that only
makes the same tuples is timed beside it, because a bare figure says more of the machine.
"""

import argparse
import time
from itertools import cycle, islice
from math import exp
from random import Random

from roewatch.judging.judge import Judge, Judged
from roewatch.room.moment import MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.tank import Probe, Room, Tank
from roewatch.room.window import Window
from roewatch.service.collecting import collect_seldom

START = at_ms_of_iso("2026-01-05T00:00:00Z")
_DAY = 1440


def _thermostat(random: Random) -> list[float]:
    """A day of minutes of a tank that cycles by half a degree, in sensor steps of 1/16 °C."""
    value, heating, said = 26.0, False, []
    for _ in range(_DAY):
        rest = 20.0 + (18.0 if heating else 0.0)
        value = rest + (value - rest) * exp(-1 / 60 / 9)
        heating = value < 25.75 or (heating and value < 26.25)
        said.append(round((value + random.gauss(0, 0.05)) * 16) / 16)
    return said


def room_of(probes: int, every_ms: int) -> Room:
    """`probes` probes, two a tank."""
    windows = {Quantity.TEMPERATURE: Window(low=24, high=28), Quantity.PH: Window(low=5, high=7)}
    tanks = [
        Tank(id=f"t{n}", litres=30, heater_watts=50, windows=windows) for n in range(probes // 2)
    ]
    both = (Quantity.TEMPERATURE, Quantity.PH)
    made = [
        Probe(id=f"{t.id}-{q}", tank=t.id, quantity=q, every_ms=every_ms)
        for t in tanks
        for q in both
    ]
    return Room(id="bench", name="bench", zone="UTC", tanks=tuple(tanks), probes=tuple(made))


def readings_of(room: Room, every_ms: int, many: int) -> list[Reading]:
    """`many` readings in order of time, all probes in turn."""
    random = Random(1)
    warm = [_thermostat(random) for _ in range(8)]
    sour = [[round(6.2 + random.gauss(0, 0.012), 2) for _ in range(_DAY)] for _ in range(8)]
    names = [(p.id, (warm if p.quantity is Quantity.TEMPERATURE else sour)[n // 2 % 8], n * 97)
             for n, p in enumerate(room.probes)]  # fmt: skip
    turn = 0
    made: list[Reading] = []
    spread = max(every_ms // max(len(names), 1), 0)
    while len(made) < many:
        at_ms = START + turn * every_ms
        minute = at_ms // MINUTE_MS
        for n, (name, series, phase) in enumerate(names):
            made.append(Reading(name, at_ms + n * spread, series[(minute + phase) % _DAY]))
        turn += 1
    return made[:many]


def judged_per_s(probes: int, every_ms: int, many: int) -> float:
    """Readings a second of CPU time, after a warm start of a sixth of them."""
    room = room_of(probes, every_ms)
    readings = readings_of(room, every_ms, many)
    judge = Judge(room, start_ms=START)
    take = judge.take
    warm = max(many // 6, min(probes * 12, many // 2))
    for reading in islice(readings, warm):
        take(reading)
    collect_seldom()  # as `watch` and `replay` do
    begun = time.process_time()
    for reading in islice(readings, warm, None):
        take(reading)
    return (many - warm) / (time.process_time() - begun)


def tuples_per_s(many: int = 400_000) -> float:
    """How many times a second this machine makes the tuples one judged reading needs."""
    some = cycle([Reading("t1-temperature", START, 26.0)])
    begun = time.process_time()
    for reading in islice(some, many):
        probe, at_ms, raw = reading
        Judged(Flagged(probe, at_ms, raw, raw, Flag.GOOD), (), None)
    return many / (time.process_time() - begun)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=400_000)
    asked = parser.parse_args()
    print(f"making the tuples alone: {tuples_per_s():,.0f} a second")
    for every_ms in (60_000, 10_000):
        rates = {}
        for probes in (10, 1_000, 10_000):
            many = max(asked.readings, probes * 60)
            rates[probes] = judged_per_s(probes, every_ms, many)
            room = f"every {every_ms // 1000:2} s, {probes:6,} probes"
            print(f"{room}: {rates[probes]:10,.0f} judged a second")
        print(f"   slowest over quickest: {max(rates.values()) / min(rates.values()):.2f}")


if __name__ == "__main__":
    main()
