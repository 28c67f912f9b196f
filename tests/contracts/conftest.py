"""Servers the contracts are tried against, started once."""

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from tests.contracts.victoria import VictoriaServer


@pytest.fixture(scope="session")
def victoria(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VictoriaServer]:
    server = VictoriaServer(tmp_path_factory.mktemp("victoria"))
    server.start()
    yield server
    server.kill()


@pytest.fixture(scope="session")
def influx_server() -> Iterator[dict[str, str]]:
    from testcontainers.core.container import DockerContainer  # noqa: PLC0415, slow to load
    from testcontainers.core.waiting_utils import wait_for_logs  # noqa: PLC0415

    settings: dict[str, str] = {"org": "fishroom", "bucket": "readings", "token": uuid.uuid4().hex}
    container: Any = DockerContainer("influxdb:2.7").with_exposed_ports(8086)
    for name, value in {
        "MODE": "setup",
        "USERNAME": "keeper",
        "PASSWORD": uuid.uuid4().hex,
        "ORG": settings["org"],
        "BUCKET": settings["bucket"],
        "ADMIN_TOKEN": settings["token"],
    }.items():
        container = container.with_env(f"DOCKER_INFLUXDB_INIT_{name}", value)
    with container as server:
        wait_for_logs(server, "Listening.*tcp-listener.*8086", timeout=60)
        host, port = server.get_container_host_ip(), server.get_exposed_port(8086)
        yield settings | {"url": f"http://{host}:{port}"}
