"""Killed at any moment, packing or not, the store has every reading it said it kept, once."""

import subprocess
import sys
from pathlib import Path

from tests.storage.builders import NOON, said

import roewatch
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store

_WRITER = """
import sys
from pathlib import Path
from roewatch.room.reading import Flag, Flagged
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store

store = Store.open(Path(sys.argv[1]))
n = int(sys.argv[2])
while True:
    minutes = [int(sys.argv[3]) + (n + i) * 60_000 for i in range(50)]
    batch = [Flagged("a1-temp", at_ms, 24.0, 24.0, Flag.GOOD) for at_ms in minutes]
    store.keep(Kept(readings=batch, states={"judge": str(n)}))
    n += 50
    print(n, flush=True)
    store.pack_some(minutes[-1])
"""


def _at_ms(minute: int) -> int:
    return NOON + minute * 60_000


def test_twenty_kills_lose_nothing_that_was_kept_and_double_nothing(path: Path) -> None:
    told = 0
    for kill in range(20):
        writer = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path), str(told), str(NOON)],
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
    assert moments[:told] == [_at_ms(minute) for minute in range(told)]
    assert len(moments) - told in (0, 50)  # the last commit may not have been said
    assert store.states()["judge"] == str(len(moments) - 50)
    assert store.keep(Kept(readings=[said(24.0, at_ms=at) for at in moments[-999:]])) == 0
    store.close()
    records = Records(path)
    counts = records.counts()
    assert counts["packed"] > 3
    assert counts["readings"] == len(moments)
    records.close()
