"""Receivers: a real web hook server and a real mail server on loopback that can behave badly."""

import email
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import default as modern
from enum import StrEnum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from tests.journeys.broker import free_port


class Mode(StrEnum):
    """How a receiver behaves."""

    ACCEPT = "accept"
    REFUSE = "refuse"  # says no, for good
    BUSY = "busy"  # 429, or a temporary failure
    MOVED = "moved"  # 308 to another address
    HANG = "hang"  # takes the message and never answers
    DROP = "drop"  # takes the message and hangs up without an answer


@dataclass
class Inbox:
    """What a receiver got, in order, repeats included. mode may be changed at any time."""

    mode: Mode = Mode.ACCEPT
    retry_after: str = ""
    got: list[Any] = field(default_factory=list)
    changed: threading.Condition = field(default_factory=threading.Condition)
    released: threading.Event = field(default_factory=threading.Event)

    def put(self, message: Any) -> None:
        """Record one message."""
        with self.changed:
            self.got.append(message)
            self.changed.notify_all()

    def close(self) -> None:
        """Let go of whoever hangs, and stop."""
        raise NotImplementedError

    def wait_for(self, count: int, timeout_s: float = 10.0) -> list[Any]:
        """What was got once there are `count`. Raises AssertionError when they do not come."""
        with self.changed:
            came = self.changed.wait_for(lambda: len(self.got) >= count, timeout_s)
            assert came, f"only {len(self.got)} of {count} messages came within {timeout_s} s"
            return list(self.got)


@dataclass(frozen=True)
class Posted:
    """One POST: its Idempotency-Key and its JSON body, headers in lower case."""

    key: str
    body: dict[str, Any]
    headers: dict[str, str]
    path: str


class WebhookReceiver(Inbox):
    """A web hook server. `url` is where to post; `down` and `up` take it away and bring it back."""

    def __init__(self, mode: Mode = Mode.ACCEPT) -> None:
        super().__init__(mode)
        self._server: ThreadingHTTPServer | None = None
        self.port = 0
        self.up()

    @property
    def url(self) -> str:
        """Its address, with a token in it that must never show."""
        return f"http://127.0.0.1:{self.port}/hook/s3cr3t-token"

    def up(self) -> None:
        """Listen, on the same port as before."""
        server = ThreadingHTTPServer(("127.0.0.1", self.port), _handler(self))
        server.daemon_threads = True
        self.port = server.server_address[1]
        self._server = server
        threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()

    def down(self) -> None:
        """Stop listening: connections are refused."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def close(self) -> None:
        """Let go of whoever hangs, and stop."""
        self.released.set()
        self.down()

    @property
    def keys(self) -> list[str]:
        """The Idempotency-Keys in order, repeats included."""
        return [posted.key for posted in self.got]

    @property
    def shown(self) -> list[Posted]:
        """What a receiver that heeds the key shows its person: each once."""
        return list({posted.key: posted for posted in reversed(self.got)}.values())[::-1]


def _handler(inbox: WebhookReceiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            headers = {name.lower(): value for name, value in self.headers.items()}
            raw = json.loads(self.rfile.read(length))
            inbox.put(Posted(headers.get("idempotency-key", ""), raw, headers, self.path))
            mode = inbox.mode
            if mode is Mode.HANG:
                inbox.released.wait(30)
            if mode in {Mode.HANG, Mode.DROP}:
                self.close_connection = True
                return
            status = {Mode.ACCEPT: 204, Mode.REFUSE: 403, Mode.BUSY: 429, Mode.MOVED: 308}[mode]
            self.send_response(status)
            if mode is Mode.MOVED:
                self.send_header("Location", "/elsewhere")
            if inbox.retry_after and mode is Mode.BUSY:
                self.send_header("Retry-After", inbox.retry_after)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args: Any) -> None:
            """Say nothing: the test reads what came."""

    return Handler


class MailReceiver(Inbox):
    """A mail server; `got` holds parsed messages. `url` is Apprise's address for it."""

    def __init__(self, mode: Mode = Mode.ACCEPT) -> None:
        super().__init__(mode)
        self.port = free_port()
        self._controller = Controller(_Mailroom(self), hostname="127.0.0.1", port=self.port)
        self._controller.start()

    @property
    def url(self) -> str:
        """Apprise's address of it, with a password in it that must never show."""
        return (
            f"mailto://127.0.0.1:{self.port}"
            "?from=roewatch@boathouse.example&to=keeper@boathouse.example&mode=insecure"
        )

    def close(self) -> None:
        """Let go of whoever hangs, and stop."""
        if not self.released.is_set():
            self.released.set()
            self._controller.stop()


class _Mailroom:
    def __init__(self, inbox: MailReceiver) -> None:
        self._inbox = inbox

    async def handle_RCPT(  # noqa: N802  # aiosmtpd's name for it
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self._inbox.mode is Mode.REFUSE:
            return "550 no such person here"
        if self._inbox.mode is Mode.BUSY:
            return "451 try again later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        content = envelope.content
        assert isinstance(content, bytes)
        message = email.message_from_bytes(content, policy=modern)
        assert isinstance(message, EmailMessage)
        self._inbox.put(message)
        if self._inbox.mode is Mode.HANG:
            assert server.loop is not None
            await server.loop.run_in_executor(None, self._inbox.released.wait, 30)
        if self._inbox.mode in {Mode.HANG, Mode.DROP}:
            assert server.transport is not None
            server.transport.close()
        return "250 taken"


@contextmanager
def closing(make: Callable[[], Any]) -> Iterator[Any]:
    """A receiver for the length of a `with` block."""
    receiver = make()
    try:
        yield receiver
    finally:
        receiver.close()
