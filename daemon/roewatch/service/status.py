"""The status: what the broker keeps of us for whoever asks, retained, with a last will."""

import json
from dataclasses import asdict
from typing import NamedTuple

from roewatch.room.moment import iso
from roewatch.service.counts import Counts
from roewatch.service.version import program_version

RENEWED = ("watching", "waiting")
"""Words that are only good until the next is due; the others stay true."""


class Status(NamedTuple):
    """since_ms: when this daemon began to watch. good_for_ms: by then it has said more."""

    since_ms: int
    good_for_ms: int = 0


def status_text(
    status: Status, word: str, counts: Counts | None = None, *, at_ms: int | None = None
) -> bytes:
    """The payload. word: `watching`, `waiting` for a clock, `stopped`, or `gone` without goodbye.

    at_ms: when it is said; the broker says the last of them for us at a moment nobody knows.
    """
    said = {"state": word, "since": iso(status.since_ms), "version": program_version()}
    if at_ms is not None:
        said["at"] = iso(at_ms)
        if word in RENEWED:
            said["good_until"] = iso(at_ms + status.good_for_ms)
    return json.dumps(said | ({"counts": asdict(counts)} if counts else {})).encode()
