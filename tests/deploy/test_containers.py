"""The compose file and the Containerfile, as far as they can be judged without an engine."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

DEPLOY = Path(__file__).parents[2] / "deploy"
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
IMAGE = (DEPLOY / "Containerfile").read_text()


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_is_looked_after_and_may_do_little(name: str) -> None:
    service = SERVICES[name]
    assert service["restart"] == "unless-stopped"
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "healthcheck" in service or "HEALTHCHECK" in IMAGE
    assert re.search(r":[\d.]+$", service["image"]) or "build" in service, "a version is named"


def test_only_the_broker_is_reached_from_other_machines() -> None:
    open_to_all = [
        name
        for name, service in SERVICES.items()
        for port in service.get("ports", [])
        if not port.startswith("127.0.0.1:")
    ]
    assert open_to_all == ["broker"]


def test_the_daemon_is_nobody_and_writes_its_own_folder_only() -> None:
    daemon = SERVICES["roewatch"]
    assert daemon["user"] == "10001:10001"
    assert daemon["read_only"] is True
    assert [volume.partition(":")[2] for volume in daemon["volumes"]] == ["/room"]
    assert re.search(r"^USER 10001:10001$", IMAGE, re.MULTILINE)


def test_what_it_names_is_there() -> None:
    told = (DEPLOY / "docs/howto/containers.md").read_text()
    for name, secret in COMPOSE["secrets"].items():
        assert secret["file"].removeprefix("./") in told, f"nobody is told to make {name}"
    for service in SERVICES.values():
        assert set(service.get("secrets", [])) <= set(COMPOSE["secrets"])
        assert set(service.get("depends_on", {})) <= set(SERVICES)
        for volume in service.get("volumes", []):
            source = volume.partition(":")[0]
            if source.startswith("./") and source != "./room":
                assert (DEPLOY / source).exists(), source
            elif not source.startswith("./"):
                assert source in COMPOSE["volumes"]
    for source in re.findall(r"^COPY (?!--from)(.+) \S+$", IMAGE, re.MULTILINE):
        for one in source.split():
            assert (DEPLOY.parent / one).exists(), one
