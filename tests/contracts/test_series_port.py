"""What every store of series must do, whichever it is: in memory, SQLite, or a server."""

import uuid
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from tests.contracts.victoria import VictoriaServer

from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Calibration, Probe
from roewatch.storage.cell import cell_of
from roewatch.storage.day import Cells, cells_of
from roewatch.storage.influx import Influx, Victoria, answering
from roewatch.storage.kept import Kept
from roewatch.storage.line import Event
from roewatch.storage.manifest import Manifest
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.target import Batch, Pigeonhole, Target

DAY = 19_723  # 2024-01-01, long past, because a server may refuse the future
MIDNIGHT = DAY * DAY_MS
PROBE = Probe(
    id="a1 temp, left",  # signs the line protocol must escape
    tank="A=1",
    quantity=Quantity.TEMPERATURE,
    every_ms=5000,
    calibrations=(Calibration(at_ms=0, slope=1.0, offset=0.5),),
)
OTHER = Probe(id="b1-ph", tank="B1", quantity=Quantity.PH, every_ms=5000)


class OwnFile:
    """Our own store seen through the same port, packing now and then."""

    def __init__(self, path: Path) -> None:
        self.connections = 1
        self._store = Store.open(path)
        self._records = Records(path)

    def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
        for probe, cells in readings:
            rows = zip(cells.at_ms, cells.raw(), cells.flag, strict=True)
            self._store.keep(
                Kept(readings=[Flagged(probe.id, at, raw, raw, Flag(f)) for at, raw, f in rows])
            )
        self._store.pack_some(2**42, budget=1)

    def look(self) -> None:
        self._records.counts()

    def counts(self, day: int) -> dict[str, int]:
        return Manifest(self._records).day_counts(day)

    def read(self, probe: Probe, from_ms: int, to_ms: int) -> Cells:
        chunks = list(self._records.chunks(probe.id, from_ms, to_ms))
        return cells_of(row for cells in chunks for row in zip(*cells, strict=True))

    def close(self) -> None:
        self._records.close()
        self._store.close()


Settled = Callable[[], None]


@pytest.fixture(
    params=[
        "in memory",
        "sqlite",
        pytest.param("victoria", marks=pytest.mark.needs("victoria-metrics")),
        pytest.param("influx", marks=pytest.mark.needs("docker")),
    ]
)
def port(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Target, Settled]]:
    """A store nobody wrote to, and what makes it show what it was given."""
    target: Target
    settled: Settled = lambda: None  # noqa: E731
    room = f'the "boat" house {uuid.uuid4().hex}'
    if request.param == "in memory":
        target = Pigeonhole()
    elif request.param == "sqlite":
        target = OwnFile(tmp_path / "own.db")
    elif request.param == "victoria":
        server: VictoriaServer = request.getfixturevalue("victoria")
        target = Victoria(url=server.url, org="", bucket="", token="", room=room)
        settled = server.flush
    else:
        target = Influx(**request.getfixturevalue("influx_server"), room=room)
    yield target, settled
    target.close()


def _cells(*rows: tuple[float, float, int]) -> Cells:
    """Readings as (seconds after midnight, raw, flag)."""
    return cells_of((MIDNIGHT + round(s * 1000), cell_of(raw), flag) for s, raw, flag in rows)


def _rows(cells: Cells) -> list[tuple[float, float, int]]:
    at = [(at_ms - MIDNIGHT) / 1000 for at_ms in cells.at_ms]
    return list(zip(at, cells.raw(), cells.flag, strict=True))


def test_what_was_taken_is_read_back_in_order_to_eleven_digits(
    port: tuple[Target, Settled],
) -> None:
    # VictoriaMetrics rounds what it cannot hold in twelve digits or so; a probe sends four to six
    target, settled = port
    rows = [(0.0, 24.0625, 1), (0.001, 1 / 3, 2), (5.25, -127.0, 4), (86_399.999, 1e-7, 3)]
    target.take([(PROBE, _cells(*rows[2:])), (PROBE, _cells(*rows[:2]))])
    settled()
    found = _rows(target.read(PROBE, MIDNIGHT, MIDNIGHT + DAY_MS))
    assert [(s, flag) for s, _, flag in found] == [(s, flag) for s, _, flag in rows]
    assert [raw for _, raw, _ in found] == pytest.approx([r[1] for r in rows], rel=1e-11, abs=0)


def test_a_span_holds_its_start_and_not_its_end(port: tuple[Target, Settled]) -> None:
    target, settled = port
    target.take([(PROBE, _cells(*((float(s), 20.0 + s, 1) for s in range(4))))])
    settled()
    found = target.read(PROBE, MIDNIGHT + 1000, MIDNIGHT + 3000)
    assert _rows(found) == [(1.0, 21.0, 1), (2.0, 22.0, 1)]


def test_taking_the_same_again_leaves_it_there_once(port: tuple[Target, Settled]) -> None:
    target, settled = port
    batch = [(PROBE, _cells(*((float(s), 24.0, 1) for s in range(100))))]
    for _ in range(3):
        target.take(batch)
        settled()
    assert len(target.read(PROBE, MIDNIGHT, MIDNIGHT + DAY_MS).at_ms) == 100
    assert target.counts(DAY) == {PROBE.id: 100}


def test_each_probe_is_counted_by_its_day_in_utc(port: tuple[Target, Settled]) -> None:
    target, settled = port
    target.take(
        [
            (
                PROBE,
                _cells((-0.001, 1.0, 1), (0.0, 2.0, 1), (86_399.999, 3.0, 1), (86_400, 4.0, 1)),
            ),
            (OTHER, _cells((3600, 5.5, 1))),
        ]
    )
    settled()
    assert target.counts(DAY) == {PROBE.id: 2, OTHER.id: 1}
    assert target.counts(DAY - 1) == target.counts(DAY + 1) == {PROBE.id: 1}
    assert target.counts(DAY + 2) == {}


def test_a_probe_that_never_spoke_reads_as_nothing(port: tuple[Target, Settled]) -> None:
    target, settled = port
    settled()
    assert _rows(target.read(OTHER, MIDNIGHT, MIDNIGHT + DAY_MS)) == []


def test_a_look_that_is_answered_over_the_same_line_opens_no_other(
    port: tuple[Target, Settled],
) -> None:
    target, _ = port
    target.take([(PROBE, _cells((0, 24.0, 1)))])
    before = target.connections
    target.look()
    assert target.connections == before


def test_an_event_beside_the_readings_is_taken(port: tuple[Target, Settled]) -> None:
    target, settled = port
    event = Event(MIDNIGHT, "alarm", {"tank": "A=1", "state": ""}, 7, 'said "24,1"\nand \\ more')
    target.take([(PROBE, _cells((0, 24.0, 1)))], [event])
    target.take([], [event])
    settled()
    assert target.counts(DAY) == {PROBE.id: 1}


@pytest.mark.parametrize(
    ("kind", "fixture"),
    [
        pytest.param(Victoria, "victoria", marks=pytest.mark.needs("victoria-metrics")),
        pytest.param(Influx, "influx_server", marks=pytest.mark.needs("docker")),
    ],
)
def test_the_kind_of_server_is_told_by_what_answers(
    kind: type[Influx], fixture: str, request: pytest.FixtureRequest
) -> None:
    server = request.getfixturevalue(fixture)
    at = {"url": server.url, "org": "", "bucket": "", "token": ""} if kind is Victoria else server
    target = answering(**at, room="boathouse")
    assert type(target) is kind
    assert target.counts(DAY) == {}
    target.close()
