"""The mirror against a real server that is killed while it is shipped to."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.contracts.victoria import VictoriaServer

from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Probe
from roewatch.storage.influx import Victoria
from roewatch.storage.kept import Kept
from roewatch.storage.mirror import Mirror, compare
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.target import TargetDownError

DAY = 19_723  # 2024-01-01
PROBES = [
    Probe(id=f"p{i}", tank=f"A{i}", quantity=Quantity.TEMPERATURE, every_ms=1000) for i in range(3)
]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[VictoriaServer]:
    server = VictoriaServer(tmp_path / "victoria")
    server.start()
    yield server
    server.kill()


def _said(first: int, n: int) -> list[Flagged]:
    return [
        Flagged(probe.id, DAY * DAY_MS + s * 1000, 24 + s % 16 / 16, 0.0, Flag.GOOD)
        for s in range(first, first + n)
        for probe in PROBES
    ]


@pytest.mark.needs("victoria-metrics")
def test_a_server_killed_again_and_again_ends_up_with_every_reading_once(
    server: VictoriaServer, tmp_path: Path
) -> None:
    store = Store.open(tmp_path / "room.db")
    records = Records(tmp_path / "room.db")
    target = Victoria(url=server.url, org="", bucket="", token="", room="boathouse")
    mirror = Mirror(records, target, PROBES, store.mirrored, batch=1000)
    refused = 0
    for turn in range(6):
        store.keep(Kept(readings=_said(turn * 500, 500)))
        mirror.step()
        server.kill()  # what it has just said yes to is not on its disk
        if turn % 2:  # every other time the mirror meets the closed port
            with pytest.raises(TargetDownError):
                mirror.step()
            refused += 1
        server.start()
    store.keep(Kept(readings=_said(3000, 1)))
    while mirror.step():
        pass
    server.flush()
    assert refused == 3
    assert compare(records, target, PROBES, [DAY - 1, DAY, DAY + 1]) == []
    assert target.counts(DAY) == dict.fromkeys(("p0", "p1", "p2"), 3001)
    target.close()
    records.close()
    store.close()


@pytest.mark.needs("victoria-metrics")
def test_a_server_restarted_between_two_requests_shows_in_the_count_of_connections(
    server: VictoriaServer,
) -> None:
    target = Victoria(url=server.url, org="", bucket="", token="", room="boathouse")
    target.look()
    target.counts(DAY)
    assert target.connections == 1
    server.kill()
    server.start()
    target.look()
    assert target.connections == 2
    server.kill()
    with pytest.raises(TargetDownError):
        target.look()
    server.start()
    target.close()


@pytest.mark.needs("victoria-metrics")
def test_a_server_that_dies_in_a_quiet_hour_is_shipped_to_again(
    server: VictoriaServer, tmp_path: Path
) -> None:
    store = Store.open(tmp_path / "room.db")
    records = Records(tmp_path / "room.db")
    target = Victoria(url=server.url, org="", bucket="", token="", room="boathouse")
    mirror = Mirror(records, target, PROBES, store.mirrored, margin_s=0)
    store.keep(Kept(readings=_said(0, 500)))
    mirror.step()
    server.kill()  # and nothing new is kept that would be shipped
    server.start()
    while mirror.step():
        pass
    server.flush()
    assert target.counts(DAY) == dict.fromkeys(("p0", "p1", "p2"), 500)
    target.close()
    records.close()
    store.close()


@pytest.mark.needs("victoria-metrics")
def test_a_server_that_is_not_there_is_said_to_be_down_without_the_token(tmp_path: Path) -> None:
    target = Victoria(url="http://127.0.0.1:9", org="o", bucket="b", token="hush", room="boathouse")
    with pytest.raises(TargetDownError) as told:
        target.counts(DAY)
    assert "127.0.0.1:9" in str(told.value)
    assert "hush" not in str(told.value)
    target.close()
