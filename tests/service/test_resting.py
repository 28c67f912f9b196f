"""A probe in its buffer: when its reading may be taken."""

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from roewatch.room.moment import MINUTE_MS, SECOND_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Probe
from roewatch.service.resting import rested
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.water.refusal import RefusedError

NOON = at_ms_of_iso("2026-05-04T12:00:00Z")
PH = Probe(id="a3-ph", tank="A3", quantity=Quantity.PH, every_ms=5 * SECOND_MS)


class Bench:
    """A store into which a probe speaks every 5 s, and a clock that moves only when waited for."""

    def __init__(self, folder: Path, says: Callable[[float], float | None]) -> None:
        self._store = Store.open(folder / "bench.db")
        self.records = Records(folder / "bench.db")
        self._says = says
        self.now = NOON
        self.told: list[str] = []

    def wait(self) -> None:
        self.now += PH.every_ms
        value = self._says((self.now - NOON) / SECOND_MS)
        if value is not None:
            flagged = Flagged(PH.id, self.now, value, value, Flag.GOOD)
            self._store.keep(Kept(readings=[flagged]))

    def rested(self) -> float:
        return rested(
            self.records, PH, now_ms=lambda: self.now, wait=self.wait, told=self.told.append
        )

    def close(self) -> None:
        self.records.close()
        self._store.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Callable[[Callable[[float], float | None]], Bench]]:
    made: list[Bench] = []

    def make(says: Callable[[float], float | None]) -> Bench:
        made.append(Bench(tmp_path, says))
        return made[-1]

    yield make
    for one in made:
        one.close()


Make = Callable[[Callable[[float], float | None]], Bench]


def test_a_reading_is_taken_when_it_has_stopped_moving_and_not_before(bench: Make) -> None:
    at_work = bench(lambda s: 4.05 + 2.0 * math.exp(-s / 20))
    assert at_work.rested() == pytest.approx(4.05, abs=0.01)
    # exp falls below a hundredth of 2 pH after 20 s x ln 200 = 106 s; two still minutes follow
    assert at_work.now - NOON > 3.5 * MINUTE_MS
    assert "rests below 0.02" in at_work.told[-1]


def test_what_was_read_before_the_probe_went_in_does_not_count(bench: Make) -> None:
    at_work = bench(lambda s: 7.01)
    for _ in range(60):
        at_work.wait()
    began = at_work.now
    assert at_work.rested() == pytest.approx(7.01)
    assert at_work.now - began >= 2 * MINUTE_MS


def test_a_reading_that_never_rests_is_refused(bench: Make) -> None:
    with pytest.raises(RefusedError, match="did not come to rest in 6 min"):
        bench(lambda s: 7.0 + 0.1 * math.sin(s)).rested()


def test_a_probe_that_does_not_speak_is_said_and_refused(bench: Make) -> None:
    at_work = bench(lambda s: None)
    with pytest.raises(RefusedError, match="see that the probe speaks"):
        at_work.rested()
    assert at_work.told[0].startswith("waiting for the probe to speak")
