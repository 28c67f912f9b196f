"""A fresh store and its records for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from roewatch.storage.reader import Records
from roewatch.storage.store import Store


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "room.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    store = Store.open(path)
    yield store
    store.close()


@pytest.fixture
def records(store: Store, path: Path) -> Iterator[Records]:
    records = Records(path)
    yield records
    records.close()
