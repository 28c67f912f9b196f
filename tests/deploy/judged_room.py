"""Judge three days of a simulated room with faults, and say what was found: a child's work.

The first line says whether the judging is compiled; the findings follow, and two digests: of every
reading's flag, and of what the judge keeps. It is restarted from what it keeps half way.
"""

import hashlib
import json

from tests.bench.detection.__main__ import settings_of
from tests.bench.detection.rooms import START, bench_room

from roewatch.judging import testimony
from roewatch.judging.judge import Judge
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM

DAYS = 3


def main() -> None:
    sim, _ = bench_room("tuning", 41, days=DAYS)
    room = settings_of(sim)
    names = {
        (t.id, p.quantity): f"{t.id}-{p.quantity}" for t in sim.tanks.values() for p in t.probes
    }
    names[ROOM, Quantity.TEMPERATURE] = "room-air"
    judge = Judge(room, start_ms=START)
    flags, states = hashlib.sha256(), dict[str, str]()
    print("compiled" if str(testimony.__file__).endswith(".so") else "plain")
    entered = 0
    restarted = False
    for sample in sim.run(START + DAYS * DAY_MS):
        if not restarted and sample.at_ms > START + DAYS * DAY_MS // 2:
            states.update(judge.changed_states())
            judge = Judge(room)
            assert not judge.restore(states)
            restarted = True
        for entry in sim.journal[entered:]:
            for finding in judge.enter(entry):
                print(finding)
        entered = len(sim.journal)
        reading = Reading(names[sample.tank, sample.quantity], sample.at_ms, sample.value)
        judged = judge.take(reading)
        flags.update(repr((judged.flagged, judged.revised)).encode())
        for finding in judged.findings:
            print(finding)
    states.update(judge.changed_states())
    print("flags", flags.hexdigest())
    # compiled, a whole number of litres is kept as 40.0
    kept = {key: json.loads(text, parse_int=float) for key, text in sorted(states.items())}
    print("states", hashlib.sha256(json.dumps(kept).encode()).hexdigest())


if __name__ == "__main__":
    main()
