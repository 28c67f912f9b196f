"""The status: what the broker keeps of us for whoever asks, retained, with a last will."""

import json
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from typing import NamedTuple

from roewatch.room.moment import iso
from roewatch.service.counts import Counts


class Status(NamedTuple):
    """since_ms: when this daemon began to watch."""

    since_ms: int


def status_text(status: Status, word: str, counts: Counts | None = None) -> bytes:
    """The payload. word: `watching`, `stopped`, or `gone` when nobody said goodbye."""
    said = {"state": word, "since": iso(status.since_ms), "version": _version()}
    return json.dumps(said | ({"counts": asdict(counts)} if counts else {})).encode()


def _version() -> str:
    try:
        return version("roewatch")
    except PackageNotFoundError:  # run from a checkout that was never installed
        return "unknown"
