"""Run: python -m tests.bench.judging [--readings N] [--rounds N]: readings judged on one core.

Rooms of 10, 1,000 and 10,000 probes (a thermometer and an electrode a tank), read every 60 s and
every 10 s, for whole hours, so that what falls due by the minute, the five minutes and the hour is
paid for. Every tank has been known for three days: what a few have learned is given to all, because
a judge that has learned nothing yet has less to do. CPU time is measured, sizes by turns, and the
middle of the rounds told; a plain loop that only makes the same tuples is timed beside it, because
a bare figure says more of the machine.
"""

import argparse
import time
from collections.abc import Iterator
from itertools import cycle, islice
from math import exp
from random import Random
from statistics import median

from roewatch.judging.judge import Judge, Judged
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.tank import Probe, Room, Tank
from roewatch.room.window import Window
from roewatch.service.collecting import collect_seldom

START = at_ms_of_iso("2026-01-05T00:00:00Z")
SIZES = (10, 1_000, 10_000)
_DAY = 1440
_TANKS = 8  # unlike one another; greater rooms repeat them
LEARNED_MS = 3 * DAY_MS
_PACK = 500


def _thermostat(random: Random) -> list[float]:
    """A day of minutes of a tank that cycles by half a degree, in sensor steps of 1/16 °C."""
    value, heating, said = 26.0, False, []
    for _ in range(_DAY):
        rest = 20.0 + (18.0 if heating else 0.0)
        value = rest + (value - rest) * exp(-1 / 60 / 9)
        heating = value < 25.75 or (heating and value < 26.25)
        said.append(round((value + random.gauss(0, 0.05)) * 16) / 16)
    turn = random.randrange(_DAY)
    return said[turn:] + said[:turn]


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


class Readings:
    """The readings of a room in order of time, all probes in turn."""

    def __init__(self, room: Room, every_ms: int) -> None:
        random = Random(1)
        warm = [_thermostat(random) for _ in range(_TANKS)]
        sour = [
            [round(6.2 + random.gauss(0, 0.012), 2) for _ in range(_DAY)] for _ in range(_TANKS)
        ]
        self.every_ms = every_ms
        self.spread = every_ms // len(room.probes)
        self.series = [
            (p.id, (warm if p.quantity is Quantity.TEMPERATURE else sour)[n // 2 % _TANKS])
            for n, p in enumerate(room.probes)
        ]

    def packs(self, from_ms: int, to_ms: int) -> Iterator[list[Reading]]:
        """As many at a time in a great room as in a small one: a daemon judges what just came."""
        readings = (
            Reading(name, at_ms + n * self.spread, series[at_ms // MINUTE_MS % _DAY])
            for at_ms in range(from_ms, to_ms, self.every_ms)
            for n, (name, series) in enumerate(self.series)
        )
        while pack := list(islice(readings, _PACK)):
            yield pack


def learned(every_ms: int) -> dict[str, str]:
    """What a judge has learned of the first tanks in three days."""
    room = room_of(2 * _TANKS, every_ms)
    judge = Judge(room, start_ms=START)
    for pack in Readings(room, every_ms).packs(START, START + LEARNED_MS):
        for reading in pack:
            judge.take(reading)
    assert all(judge.learned(tank.id).duty for tank in room.tanks)
    return judge.changed_states()


def experienced(room: Room, known: dict[str, str]) -> Judge:
    """A judge of `room` that has known each of its tanks for three days."""
    states = {"judge/room": known["judge/room"]}
    for n, tank in enumerate(room.tanks):
        like = f"t{n % _TANKS}"
        for key in (
            f"judge/tank/{like}",
            *(f"judge/probe/{like}-{q}" for q in ("temperature", "ph")),
        ):
            states[key.replace(like, tank.id)] = known[key].replace(f'"{like}', f'"{tank.id}')
    judge = Judge(room)
    lost = judge.restore(states)
    assert not lost, lost
    return judge


def whole_hours(probes: int, every_ms: int, many: int) -> int:
    """In how many whole hours so many probes are read at least `many` times."""
    return -(-many // (probes * HOUR_MS // every_ms))


def judged_per_s(probes: int, every_ms: int, many: int, known: dict[str, str]) -> float:
    """Readings a second of CPU time, over whole hours after half an hour that is not counted."""
    room = room_of(probes, every_ms)
    judge = experienced(room, known)
    readings = Readings(room, every_ms)
    take = judge.take
    begin_ms = START + LEARNED_MS
    warm_ms = begin_ms + HOUR_MS // 2
    hours = whole_hours(probes, every_ms, many)
    for pack in readings.packs(begin_ms, warm_ms):
        for reading in pack:
            take(reading)
    collect_seldom(probes)  # as `watch` and `replay` do
    spent, judged = 0.0, 0
    for pack in readings.packs(warm_ms, warm_ms + hours * HOUR_MS):
        begun = time.process_time()
        for reading in pack:
            take(reading)
        spent += time.process_time() - begun
        judged += len(pack)
    return judged / spent


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
    parser.add_argument("--readings", type=int, default=400_000, help="at least so many a room")
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    for every_ms in (60_000, 10_000):
        known = learned(every_ms)
        rates: dict[int, list[float]] = {probes: [] for probes in SIZES}
        tuples = []
        for _ in range(asked.rounds):
            tuples.append(tuples_per_s())
            for probes, seen in rates.items():
                seen.append(judged_per_s(probes, every_ms, asked.readings, known))
        print(f"making the tuples alone: {median(tuples):,.0f} a second")
        for probes, seen in rates.items():
            room = f"every {every_ms // 1000:2} s, {probes:6,} probes"
            print(f"{room}: {median(seen):10,.0f} judged a second")
        middle = [median(seen) for seen in rates.values()]
        print(f"   quickest over slowest: {max(middle) / min(middle):.2f}")


if __name__ == "__main__":
    main()
