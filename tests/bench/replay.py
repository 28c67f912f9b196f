"""Run: python -m tests.bench.replay [--rounds N]: recorded readings judged on one core, whole.

What `roewatch replay` does with a file: read it, judge every reading, keep the book of alarms.
Rooms of 10, 1,000 and 10,000 probes read every 60 s, for whole hours and at least 400,000
readings, whose tanks have been known for three days: as in `tests.bench.judging`, which times the
judging without the rest. Each size is read and judged by a process of its own, as the command is;
sizes by turns, CPU time, and the middle of the rounds told.
"""

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from unittest.mock import patch

from tests.bench.judging import (
    LEARNED_MS,
    SIZES,
    START,
    Readings,
    experienced,
    learned,
    room_of,
    whole_hours,
)

from roewatch.room.moment import HOUR_MS, MINUTE_MS, iso
from roewatch.service import replay as recorded
from roewatch.service.collecting import collect_seldom

_AT_LEAST = 400_000
_PARTS = ("read", "judged", "both")


def _write(path: Path, probes: int) -> None:
    """The file of a room, as an export has it."""
    room = room_of(probes, MINUTE_MS)
    by_id = {probe.id: probe for probe in room.probes}
    hours = whole_hours(probes, MINUTE_MS, _AT_LEAST)
    from_ms = START + LEARNED_MS
    with path.open("w", encoding="utf-8") as file:
        file.write("time,tank,quantity,value\n")
        for pack in Readings(room, MINUTE_MS).packs(from_ms, from_ms + hours * HOUR_MS):
            for reading in pack:
                probe = by_id[reading.probe]
                file.write(f"{iso(reading.at_ms)},{probe.tank},{probe.quantity},{reading.raw}\n")


def _one(path: Path, probes: int, known: dict[str, str]) -> list[float]:
    """Readings a second of CPU time: read from the file, judged, both."""
    room = room_of(probes, MINUTE_MS)
    begun = time.process_time()
    read = recorded.read_readings(path, room)
    reading_s = time.process_time() - begun
    assert not read.refused, read.refused
    judge = experienced(room, known)
    collect_seldom(probes)
    with patch.object(recorded, "Judge", return_value=judge):
        begun = time.process_time()
        changes = sum(1 for _ in recorded.replay(room, read.readings))
        judging_s = time.process_time() - begun
    assert not changes, "a quiet room"
    many = len(read.readings)
    return [many / reading_s, many / judging_s, many / (reading_s + judging_s)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)  # FOLDER PROBES: in a child
    asked = parser.parse_args()
    if asked.one:
        folder, probes = Path(asked.one[0]), int(asked.one[1])
        known = json.loads((folder / "known.json").read_text(encoding="utf-8"))
        print(json.dumps(_one(folder / f"{probes}.csv", probes, known)))
        return
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "known.json").write_text(json.dumps(learned(MINUTE_MS)), encoding="utf-8")
        for probes in SIZES:
            _write(folder / f"{probes}.csv", probes)
        seen: dict[int, list[list[float]]] = {probes: [] for probes in SIZES}
        for _ in range(asked.rounds):
            for probes, rows in seen.items():
                command = [sys.executable, "-m", "tests.bench.replay", "--one", name, str(probes)]
                said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
                rows.append(json.loads(said))
    print("readings a second       " + "".join(f"{part:>12}" for part in _PARTS))
    middles = []
    for probes, rows in seen.items():
        middles.append([median(part) for part in zip(*rows, strict=True)])
        print(f"{probes:10,} probes       " + "".join(f"{rate:12,.0f}" for rate in middles[-1]))
    ratios = [max(part) / min(part) for part in zip(*middles, strict=True)]
    print("quickest over slowest   " + "".join(f"{ratio:12.2f}" for ratio in ratios))


if __name__ == "__main__":
    main()
