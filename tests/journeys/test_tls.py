"""TLS with a real Mosquitto: who is trusted, who is not, and what the link says of it."""

import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from tests.journeys.broker import Broker, program

from roewatch.intake.listener import BrokerSettings, LinkState, Listener

pytestmark = pytest.mark.needs("mosquitto")


class Authority:
    """A certificate authority of the test's own, valid for a day."""

    def __init__(self, folder: Path, name: str) -> None:
        folder.mkdir()
        self.folder = folder
        self.certificate = folder / "ca.pem"
        self._key = folder / "ca.key"
        self._openssl(
            *("req", "-x509", "-subj", f"/CN={name}", "-days", "1", *self._new_key(self._key)),
            *("-addext", "keyUsage=critical,keyCertSign", "-out", str(self.certificate)),
        )

    def issue(self, who: str) -> tuple[Path, Path]:
        """Certificate and key for a host (`IP:127.0.0.1`, `DNS:…`) or a client."""
        stem = self.folder / who.replace(":", "-")
        certificate, key = stem.with_suffix(".pem"), stem.with_suffix(".key")
        self._openssl(
            *("req", "-x509", "-subj", f"/CN={who.partition(':')[2]}", "-days", "1"),
            *self._new_key(key),
            *("-addext", f"subjectAltName={who}", "-addext", "basicConstraints=CA:FALSE"),
            *("-CA", str(self.certificate), "-CAkey", str(self._key), "-out", str(certificate)),
        )
        return certificate, key

    def _new_key(self, key: Path) -> tuple[str, ...]:
        curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1")
        return (*curve, "-nodes", "-keyout", str(key))

    def _openssl(self, *words: str) -> None:
        subprocess.run([program("openssl"), *words], check=True, capture_output=True)


@contextmanager
def tls_broker(
    folder: Path, authority: Authority, host: str, more: str = ""
) -> Iterator[BrokerSettings]:
    """A broker whose certificate is for `host`; gives settings that trust its authority."""
    certificate, key = authority.issue(host)
    more = f"cafile {authority.certificate}\ncertfile {certificate}\nkeyfile {key}\n{more}"
    with Broker(folder, more=more) as broker:
        yield BrokerSettings(
            host=broker.host,
            port=broker.port,
            username=broker.user,
            password=broker.password,
            tls=True,
            ca_file=str(authority.certificate),
        )


def outcome(settings: BrokerSettings) -> LinkState:
    """The first thing the link has to say: connected, or what is wrong."""
    listener = Listener(settings, ["t"], lambda: 0)
    listener.start()
    pause = threading.Event()
    try:
        for _ in range(750):
            link = listener.link
            if link.connected or link.why != "connecting":
                return link
            pause.wait(0.02)
        pytest.fail("the link says nothing in 15 s")
    finally:
        listener.stop()


def test_a_certificate_of_an_authority_we_trust_is_enough(tmp_path: Path) -> None:
    authority = Authority(tmp_path / "ca", "The Boathouse")
    with tls_broker(tmp_path / "broker", authority, "IP:127.0.0.1") as settings:
        assert outcome(settings).connected


def test_a_stranger_with_a_certificate_of_his_own_is_not_believed(tmp_path: Path) -> None:
    ours, theirs = Authority(tmp_path / "ours", "Ours"), Authority(tmp_path / "theirs", "Theirs")
    with tls_broker(tmp_path / "broker", theirs, "IP:127.0.0.1") as settings:
        link = outcome(replace(settings, ca_file=str(ours.certificate)))
    assert not link.connected
    assert "a certificate we do not trust" in link.why
    assert "set ca_file" in link.why


def test_a_certificate_for_another_host_is_not_believed(tmp_path: Path) -> None:
    authority = Authority(tmp_path / "ca", "The Boathouse")
    with tls_broker(tmp_path / "broker", authority, "DNS:elsewhere.invalid") as settings:
        link = outcome(settings)
    assert not link.connected
    assert "IP address mismatch" in link.why


def test_a_broker_without_tls_is_told_apart(tmp_path: Path) -> None:
    authority = Authority(tmp_path / "ca", "The Boathouse")
    with Broker(tmp_path / "broker") as broker:
        settings = BrokerSettings(
            host=broker.host, port=broker.port, tls=True, ca_file=str(authority.certificate)
        )
        link = outcome(settings)
    assert not link.connected
    assert "check port" in link.why


def test_a_broker_with_tls_is_told_apart_as_well(tmp_path: Path) -> None:
    authority = Authority(tmp_path / "ca", "The Boathouse")
    with tls_broker(tmp_path / "broker", authority, "IP:127.0.0.1") as settings:
        link = outcome(replace(settings, tls=False))
    assert not link.connected
    assert "plain MQTT" in link.why


def test_a_broker_that_asks_for_our_certificate_gets_it(tmp_path: Path) -> None:
    authority = Authority(tmp_path / "ca", "The Boathouse")
    certificate, key = authority.issue("DNS:roewatch")
    with tls_broker(
        tmp_path / "broker", authority, "IP:127.0.0.1", "require_certificate true"
    ) as settings:
        link = outcome(settings)
        assert not link.connected
        assert "check port, tls and our certificate" in link.why
        shown = replace(settings, cert_file=str(certificate), key_file=str(key))
        assert outcome(shown).connected
