"""A damaged file under the running daemon: the pages say what is wrong, and nothing is made up."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.service.by_hand import House, house

from roewatch.service.deeds import Hands
from roewatch.service.live import LiveRoom, RoomRecords
from roewatch.storage.trouble import StoreError
from roewatch.views.app import app_of

PAGE = 4096


@contextmanager
def pages(at: House) -> Iterator[TestClient]:
    records = RoomRecords(at.setup.storage.path, at.setup.room)
    app = app_of(
        records,
        LiveRoom(at.watch, at.clock),
        Hands(at.watch),
        settings=WebPlace(),
        unreadable=StoreError,
    )
    with TestClient(app, base_url=WebPlace().base, client=("127.0.0.1", 50_000)) as client:
        yield client
    records.close()


def damage(at: House) -> None:
    """Every page but the first is rubbish, as a worn card may have it; the writer has not seen."""
    at.store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = at.setup.storage.path
    content = path.read_bytes()
    path.write_bytes(content[:PAGE] + b"\xff" * (len(content) - PAGE))


@pytest.mark.parametrize("address", ["/", "/tank/A1", "/alarms", "/tank/A1/temperature.svg"])
def test_a_page_says_that_the_file_is_damaged_and_what_to_do(tmp_path: Path, address: str) -> None:
    with house(tmp_path) as at:
        at.lives(30)
        with pages(at) as client:
            damage(at)
            answer = client.get(address)
            assert answer.status_code == 503
            assert "The readings cannot be read" in answer.text
            assert "is damaged" in answer.text
            assert "roewatch salvage" in answer.text


def test_a_program_is_told_in_json(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.lives(30)
        with pages(at) as client:
            damage(at)
            answer = client.get("/api/room")
            assert (answer.status_code, "is damaged" in answer.json()["error"]) == (503, True)
