"""A journal file: what the keeper did, as CSV `time,tank,event,until,detail` for replay to read."""

import csv
from collections.abc import Iterable
from typing import TextIO

from roewatch.room.journal import JournalEntry
from roewatch.room.moment import iso

COLUMNS = ("time", "tank", "event", "until", "detail")


def write_journal(to: TextIO, entries: Iterable[JournalEntry]) -> int:
    """Write the entries, in the order given; returns how many."""
    writer = csv.writer(to, lineterminator="\n")
    writer.writerow(COLUMNS)
    count = 0
    for entry in entries:
        until = "" if entry.until_ms is None else iso(entry.until_ms)
        writer.writerow((iso(entry.at_ms), entry.tank, entry.deed.value, until, entry.detail))
        count += 1
    return count
