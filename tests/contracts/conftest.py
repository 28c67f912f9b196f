"""Servers the contracts are tried against, started once."""

from collections.abc import Iterator

import pytest
from tests.contracts.victoria import VictoriaServer


@pytest.fixture(scope="session")
def victoria(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VictoriaServer]:
    server = VictoriaServer(tmp_path_factory.mktemp("victoria"))
    server.start()
    yield server
    server.kill()
