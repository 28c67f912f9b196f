"""The scripts and units in deploy/: they parse, and agree with each other and the program."""

import configparser
import re
import ssl
import subprocess
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from tests.journeys.broker import PASSWORD, USER, Broker, free_port
from tests.journeys.house import wait_until
from typer.testing import CliRunner

from roewatch.service.cli import app

DEPLOY = Path(__file__).parents[2] / "deploy"
SCRIPTS = sorted(DEPLOY.rglob("*.sh"))


def unit(name: str) -> configparser.RawConfigParser:
    """A systemd unit; of a key that stands twice, the last."""
    found = configparser.RawConfigParser(strict=False, interpolation=None)
    found.optionxform = str  # type: ignore[assignment, method-assign]
    found.read(DEPLOY / "systemd" / name)
    return found


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_a_script_parses_and_stops_at_its_first_failure(script: Path) -> None:
    subprocess.run(["bash", "-n", script], check=True)
    assert "set -euo pipefail" in script.read_text()


@pytest.mark.parametrize("name", ["add-probe.sh", "make-certificates.sh"])
def test_a_script_that_needs_a_name_says_so(name: str) -> None:
    done = subprocess.run(
        ["bash", DEPLOY / "mosquitto" / name], check=False, capture_output=True, text=True
    )
    assert done.returncode == 2
    assert "usage:" in done.stderr


def test_the_unit_runs_a_command_there_is_from_where_the_script_puts_it() -> None:
    service = unit("roewatch.service")["Service"]
    program, command, *_ = service["ExecStart"].split()
    assert program == "/opt/roewatch/current/bin/roewatch"
    assert program in (DEPLOY / "install.sh").read_text()
    assert CliRunner().invoke(app, [command, "--help"]).exit_code == 0


def test_the_daemon_may_write_two_folders_and_become_nobody() -> None:
    service = unit("roewatch.service")["Service"]
    assert service["ProtectSystem"] == "strict"
    assert (service["StateDirectory"], service["ReadWritePaths"]) == ("roewatch", "/etc/roewatch")
    assert service["CapabilityBoundingSet"] == ""
    assert service["NoNewPrivileges"] == "yes"
    assert service["User"] == "roewatch"


def test_it_is_started_again_for_ever() -> None:
    found = unit("roewatch.service")
    assert found["Service"]["Restart"] == "always"
    assert found["Unit"]["StartLimitIntervalSec"] == "0"


def test_everything_the_install_script_makes_the_other_one_takes_away() -> None:
    made = (DEPLOY / "install.sh").read_text()
    gone = (DEPLOY / "uninstall.sh").read_text()
    for unit_file in (DEPLOY / "systemd").iterdir():
        assert f"/etc/systemd/system/{unit_file.name}" in gone
    for folder in re.findall(r"install -d -m 75\d(?: -o roewatch -g roewatch)? (.+)", made):
        for one in folder.split():
            assert one in gone


@pytest.mark.needs("mosquitto")
@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_the_certificates_it_makes_are_taken_by_broker_and_client(
    tmp_path: Path, host: str
) -> None:
    script = DEPLOY / "mosquitto/make-certificates.sh"
    subprocess.run(["bash", script, host, tmp_path / "certs"], check=True, capture_output=True)
    port, certs = free_port(), tmp_path / "certs"
    more = (
        f"listener {port} 127.0.0.1\ncafile {certs}/ca.pem\ncertfile {certs}/broker.pem\n"
        f"keyfile {certs}/broker.key"
    )
    with Broker(tmp_path / "broker", more=more):
        client = Client(CallbackAPIVersion.VERSION2)
        client.username_pw_set(USER, PASSWORD)
        client.tls_set_context(ssl.create_default_context(cafile=certs / "ca.pem"))
        client.connect(host, port)
        client.loop_start()
        wait_until(client.is_connected, "the client is taken in")
        client.disconnect()
        client.loop_stop()
    again = subprocess.run(["bash", script, host, certs], check=False, capture_output=True)
    assert again.returncode == 2, "a key that is there is not written over"
