"""A port: whether a TCP port of this machine can be taken, and one that can."""

import socket


def free_port() -> int:
    """A TCP port nobody listens on just now, on loopback."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def is_free(port: int, host: str = "127.0.0.1") -> bool:
    """Whether a server could take that TCP port now. A host that cannot be looked up is not."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        with socket.socket(family, kind, protocol) as probe:
            # as a server would take it: what a closed one leaves behind is no hindrance
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except OSError:
        return False
    return True
