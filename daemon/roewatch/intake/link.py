"""A link: the connection to the broker, whether it stands, since when, and why not."""

import ssl
from dataclasses import dataclass, field
from typing import NamedTuple


class LinkState(NamedTuple):
    """since_ms: when `connected` last changed. why: what is wrong; empty when nothing is."""

    connected: bool
    since_ms: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """Where the broker is and how to speak to it.

    client_id: fixed, because the broker keeps this room's unacknowledged messages under it; two
    daemons with one id throw each other out. ca_file: empty means the system's own authorities.
    keepalive_s: a link silent for one and a half of these is lost.
    """

    host: str
    port: int = 1883
    client_id: str = "roewatch"
    username: str = ""
    password: str = field(default="", repr=False)
    tls: bool = False
    ca_file: str = ""
    cert_file: str = ""
    key_file: str = field(default="", repr=False)
    keepalive_s: int = 30

    def __post_init__(self) -> None:
        if not self.host or not self.client_id:
            raise ValueError("a broker needs a host and a client id")
        if not 0 < self.port < 65536:
            raise ValueError(f"port {self.port} is no port; write 1 to 65535, mostly 1883 or 8883")
        if self.keepalive_s < 1:
            raise ValueError("keepalive needs 1 s or more: without it a dead link goes unnoticed")
        try:
            self.host.encode("idna")
        except UnicodeError as error:
            raise ValueError(f"{self.host!r} is no host name: {error}") from error
        if self.cert_file and not self.key_file:
            raise ValueError("a client certificate needs its key file beside it")

    @property
    def address(self) -> str:
        """For people and logs."""
        return f"{self.host}:{self.port}"


def tls_of(broker: BrokerSettings) -> ssl.SSLContext:
    """The context for a broker's TLS: its certificate is always verified. Raises ValueError."""
    try:
        context = ssl.create_default_context(cafile=broker.ca_file or None)
        if broker.cert_file:
            context.load_cert_chain(broker.cert_file, broker.key_file)
    except (OSError, ssl.SSLError) as error:
        raise ValueError(
            f"broker certificates: {error}; check the files and who may read them"
        ) from error
    return context


def unreachable(error: BaseException | None, broker: BrokerSettings) -> str:
    """Why no connection came about, and what to do, in one sentence."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"{broker.address} shows a certificate we do not trust ({error.verify_message}); "
            "set ca_file to the authority that signed it"
        )
    if isinstance(error, ssl.SSLError):
        return f"{broker.address} does not speak TLS as we do ({error.reason}); check port and tls"
    if isinstance(error, ConnectionRefusedError):
        return f"nothing listens on {broker.address}; start the broker, or check host and port"
    if isinstance(error, ConnectionError):
        return hung_up(broker)
    return f"{broker.address} cannot be reached ({error}); check host, port and network"


def hung_up(broker: BrokerSettings) -> str:
    """Why a connection ended before the broker said yes or no."""
    if broker.tls:
        return f"{broker.address} hung up on our TLS; check port, tls and our certificate"
    return f"{broker.address} hung up before letting us in; check that this port speaks plain MQTT"


def unanswered(broker: BrokerSettings) -> str:
    """Why a connection that was taken came to nothing."""
    return f"{broker.address} takes our connection and says nothing; is the broker stuck?"
