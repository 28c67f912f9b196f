"""What the tests of the pages share: the invented room, and somebody who looks at it."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient
from tests.views.reader import Glass, client_of
from tests.views.room_of_broods import Nursery, nursery
from tests.views.room_of_glass import usual


@pytest.fixture
def glass() -> Glass:
    """The invented room on an ordinary afternoon."""
    return usual()


@pytest.fixture
def client(glass: Glass) -> Iterator[TestClient]:
    """Somebody at the daemon's own computer."""
    with client_of(glass) as client:
        yield client


@pytest.fixture
def room() -> Nursery:
    """The same room with its broods."""
    return nursery()


@pytest.fixture
def keeper(room: Nursery) -> Iterator[TestClient]:
    """Somebody there who keeps its broods."""
    with client_of(room) as client:
        yield client
