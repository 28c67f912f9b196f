"""systemd: the word to the service manager that we are ready, and that we are still alive."""

import logging
import os
import socket
from collections.abc import Mapping

log = logging.getLogger(__name__)


class ServiceManager:
    """Speaks the sd_notify protocol over its datagram socket; silent where there is none.

    watchdog_s: how often it wants to hear from us at least; None when it does not watch.
    """

    def __init__(self, env: Mapping[str, str] | None = None) -> None:
        env = os.environ if env is None else env
        address = env.get("NOTIFY_SOCKET", "")
        # a leading @ stands for Linux's abstract namespace
        self._address = "\0" + address[1:] if address.startswith("@") else address
        usec = env.get("WATCHDOG_USEC", "")
        ours = env.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.watchdog_s = int(usec) / 1e6 if address and usec.isdecimal() and ours else None
        self._lost = False

    def ready(self) -> None:
        """The daemon watches."""
        self._tell("READY=1")

    def alive(self) -> None:
        """Nothing hangs."""
        self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """The daemon ends because it was asked to."""
        self._tell("STOPPING=1")

    def _tell(self, word: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
                line.settimeout(1.0)
                line.connect(self._address)
                line.send(word.encode())
        except OSError as error:
            if not self._lost:
                log.warning("service_manager_not_told word=%s why=%r", word, str(error))
            self._lost = True
        else:
            self._lost = False
