"""Judge three days of a simulated room with faults, and say what was found: a child's work.

The first line says whether the judging is compiled; the findings follow, and two digests: of every
reading's flag, and of what the judge keeps. It is restarted from what it keeps half way.
"""

import hashlib
import json
from collections.abc import Sequence

from tests.bench.detection.__main__ import events, settings_of
from tests.bench.detection.rooms import START, bench_room

from roewatch.intake.decode import Ahead
from roewatch.judging import testimony
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS

DAYS = 3


def main() -> None:
    sim, _ = bench_room("tuning", 41, days=DAYS)
    room = settings_of(sim)
    judge = Judge(room, start_ms=START)
    flags, states = hashlib.sha256(), dict[str, str]()
    print("compiled" if str(testimony.__file__).endswith(".so") else "plain")
    half_ms = START + DAYS * DAY_MS // 2
    restarted = False
    for event in events(sim, START + DAYS * DAY_MS):
        if isinstance(event, Ahead):
            judge.note_ahead(*event)
            continue
        if isinstance(event, JournalEntry):
            found: Sequence[Finding] = judge.enter(event)
        else:
            if not restarted and event.at_ms > half_ms:
                states.update(judge.changed_states())
                judge = Judge(room)
                assert not judge.restore(states)
                restarted = True
            judged = judge.take(event)
            flags.update(repr((judged.flagged, judged.revised)).encode())
            found = judged.findings
        for finding in found:
            print(finding)
    states.update(judge.changed_states())
    print("flags", flags.hexdigest())
    # compiled, a whole number of litres is kept as 40.0
    kept = {key: json.loads(text, parse_int=float) for key, text in sorted(states.items())}
    print("states", hashlib.sha256(json.dumps(kept).encode()).hexdigest())


if __name__ == "__main__":
    main()
