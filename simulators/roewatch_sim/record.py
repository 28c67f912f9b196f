"""A record of a simulated run: readings, labels and journal as files `roewatch replay` reads."""

import csv
import json
from collections.abc import Iterable
from pathlib import Path
from typing import TextIO

from roewatch.room.journal import JournalEntry
from roewatch.room.moment import iso
from roewatch_sim.fault import SimFault
from roewatch_sim.room import Sample


class ReadingsFile:
    """CSV `time,tank,quantity,value`, one line a sample, ISO 8601 UTC.

    The time is the board's own, as a store keeps it; what a board says of the future is kept when
    it came.
    """

    def __init__(self, out: TextIO) -> None:
        self._rows = csv.writer(out, lineterminator="\n")
        self._rows.writerow(("time", "tank", "quantity", "value"))

    def write(self, samples: Iterable[Sample]) -> int:
        """Append these samples; how many."""
        written = 0
        for sample in samples:
            at_ms = min(sample.stamp_ms, sample.at_ms)
            value = f"{sample.value:.10g}"
            self._rows.writerow((iso(at_ms), sample.tank, str(sample.quantity), value))
            written += 1
        return written


def label_line(fault: SimFault) -> str:
    """One injected fault as a line of JSON."""
    until_ms = fault.lasts_until_ms
    return json.dumps({
        "time": iso(fault.at_ms), "fault": str(fault.kind), "tank": fault.tank,
        "until": None if until_ms is None else iso(until_ms), "strength": fault.strength,
        "quantity": None if fault.quantity is None else str(fault.quantity),
        "other": fault.other or None,
    })  # fmt: skip


def write_labels(path: Path, faults: Iterable[SimFault]) -> None:
    """Every fault, one JSON object a line, in order of time."""
    lines = [label_line(fault) + "\n" for fault in sorted(faults, key=lambda f: f.at_ms)]
    path.write_text("".join(lines), encoding="utf-8")


def write_journal(path: Path, journal: Iterable[JournalEntry]) -> None:
    """CSV `time,tank,event,until,detail` as `roewatch replay --journal` takes it."""
    with path.open("w", encoding="utf-8", newline="") as out:
        rows = csv.writer(out, lineterminator="\n")
        rows.writerow(("time", "tank", "event", "until", "detail"))
        for entry in sorted(journal, key=lambda e: e.at_ms):
            until = "" if entry.until_ms is None else iso(entry.until_ms)
            rows.writerow((iso(entry.at_ms), entry.tank, str(entry.deed), until, entry.detail))
