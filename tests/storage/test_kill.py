"""Killed at any moment, the store has every reading it said it kept, once."""

import subprocess
import sys
from pathlib import Path

from tests.storage.builders import NOON, said

import roewatch
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

_WRITER = """
import sys
from pathlib import Path
from roewatch.room.reading import Flag, Flagged
import roewatch
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

store = Store.open(Path(sys.argv[1]))
first = int(sys.argv[2])
while True:
    batch = [Flagged("a1-temp", first + i, 24.0, 24.0, Flag.GOOD) for i in range(50)]
    store.keep(Kept(readings=batch, states={"judge": str(first)}))
    first += 50
    print(first, flush=True)
"""


def test_twenty_kills_lose_nothing_that_was_kept_and_double_nothing(path: Path) -> None:
    told = NOON
    for kill in range(20):
        writer = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path), str(told)],
            stdout=subprocess.PIPE,
            text=True,
            env={"PYTHONPATH": str(Path(roewatch.__file__).parents[1])},
        )
        assert writer.stdout is not None
        for _ in range(3 + kill):  # a different place in the stream each time
            told = int(writer.stdout.readline())
        writer.kill()
        rest = writer.stdout.read().split()  # what it had still said before it died
        told = int(rest[-1]) if rest else told
        writer.wait(10)
    store = Store.open(path)
    moments = [reading.at_ms for reading in store.kept_after({})]
    assert moments[: told - NOON] == list(range(NOON, told))
    assert len(moments) - (told - NOON) in (0, 50)  # the last commit may not have been said
    assert store.states()["judge"] == str(moments[-1] - 49)
    assert store.keep(Kept(readings=[said(24.0, at_ms=at) for at in moments[-99:]])) == 0
    store.close()
