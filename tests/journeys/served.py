"""Served: pages on a real port of this machine, for a real browser to ask for."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import uvicorn
from starlette.types import ASGIApp

WAIT_S = 20.0


@dataclass(frozen=True, slots=True)
class WebPlace:
    """Where the pages of a test are."""

    host: str = "127.0.0.1"
    port: int = 8420

    @property
    def base(self) -> str:
        return f"http://{self.host}:{self.port}"


@contextmanager
def served(app: ASGIApp) -> Iterator[str]:
    """The address of `app` on a free port of the loopback; stopped with the block."""
    listener = socket.create_server(("127.0.0.1", 0))
    begun = threading.Event()

    class Announced(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            begun.set()

    server = Announced(
        uvicorn.Config(app, log_level="critical", lifespan="off", timeout_graceful_shutdown=1)
    )
    thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
    thread.start()
    try:
        if not begun.wait(WAIT_S):
            raise RuntimeError(f"the pages did not start within {WAIT_S:g} s")
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(WAIT_S)
        listener.close()
