"""Control: the local way into the running daemon, for commands that change things.

One process writes the store, so a command that changes something asks that process: one line of
JSON in, one line out, over a Unix socket beside the store that only the daemon's own user may open.
In: `{"do": name, …}`. Out: `{"said": …}`, or `{"refused": text}` with what to do about it.
"""

import json
import logging
import os
import socket
import socketserver
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

log = logging.getLogger(__name__)

Errand = Callable[[Mapping[str, Any]], Any]
"""Does what was asked and returns what there is to say. Refuses with ValueError."""

ASK_S = 5.0
ANSWER_S = 40.0  # the watch loop itself gives up after 30
LONGEST_LINE = 65_536
_LONGEST_NAME = 100  # bytes; Linux takes 107


class NoDaemonError(Exception):
    """No daemon answers at that store; the text says what to do."""


class NotDoneError(Exception):
    """The daemon will not do it; the text says why."""


def socket_of(store: Path) -> Path:
    """Where the daemon that writes `store` listens."""
    return store.with_name(store.name + ".sock")


class Control:
    """Listens from `start` to `stop`. Only for the process that holds the store's lock."""

    def __init__(self, store: Path, errands: Mapping[str, Errand]) -> None:
        self.path = socket_of(store)
        self._errands = dict(errands)
        self._server: _Server | None = None

    def start(self) -> None:
        """Begin to listen. Raises OSError when the socket cannot be made."""
        # whoever holds the store's lock is the only daemon, so one left behind by a kill may go
        self.path.unlink(missing_ok=True)
        with _short(self.path) as name:
            self._server = _Server(name, self._answer)
        threading.Thread(
            target=self._server.serve_forever, name="control", args=(0.2,), daemon=True
        ).start()

    def stop(self) -> None:
        """Listen no more; what is being answered is answered."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self.path.unlink(missing_ok=True)
            self._server = None

    def __enter__(self) -> "Control":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _answer(self, line: bytes) -> dict[str, Any]:
        try:
            asked = json.loads(line)
        except ValueError:
            return {"refused": "that is no JSON; send one object on one line"}
        if not isinstance(asked, dict) or not isinstance(asked.get("do"), str):
            return {"refused": 'send an object such as {"do": "status"}'}
        errand = self._errands.get(asked["do"])
        if errand is None:
            known = ", ".join(self._errands)
            return {"refused": f"no errand {asked['do']!r}; there are: {known}"}
        try:
            return {"said": errand(asked)}
        except (ValueError, KeyError, TimeoutError) as refused:
            return {"refused": str(refused.args[0] if refused.args else refused)}


class _Server(socketserver.ThreadingMixIn, socketserver.UnixStreamServer):
    daemon_threads = False  # an answer under way is given before we go
    request_queue_size = 16

    def __init__(self, name: str, answer: Callable[[bytes], dict[str, Any]]) -> None:
        self.answer = answer
        super().__init__(name, _Visit)

    def server_bind(self) -> None:
        super().server_bind()
        # nobody can connect before `listen`, so the mode is in force from the first visitor on
        os.chmod(str(self.server_address), 0o600)  # noqa: PTH101  # may be a /proc name


class _Visit(socketserver.StreamRequestHandler):
    timeout = ASK_S
    server: _Server

    def handle(self) -> None:
        try:
            line = self.rfile.readline(LONGEST_LINE + 1)
            if not line:
                return
            if len(line) > LONGEST_LINE:
                said = {"refused": f"more than {LONGEST_LINE} bytes on one line"}
            else:
                said = self.server.answer(line)
            self.wfile.write(json.dumps(said, ensure_ascii=False).encode() + b"\n")
        except OSError as gone:  # a visitor who left or fell silent
            log.info("control_visit_broken why=%s", gone)


def ask(store: Path, do: str, *, within_s: float = ANSWER_S, **what: Any) -> Any:
    """What the daemon of `store` says to an errand, in `within_s` at most.

    Raises NoDaemonError when none answers, NotDoneError with its reason when it will not.
    """
    path = socket_of(store)
    none = f"{store}: no daemon runs here; start it with `roewatch watch`, then ask again"
    try:
        with socket.socket(socket.AF_UNIX) as line, _short(path) as name:
            line.settimeout(within_s)
            line.connect(name)
            line.sendall(json.dumps({"do": do, **what}, ensure_ascii=False).encode() + b"\n")
            answer = line.makefile("rb").readline()
    except (FileNotFoundError, ConnectionRefusedError) as error:
        raise NoDaemonError(none) from error
    except PermissionError as error:
        raise NoDaemonError(
            f"{path}: this user may not speak to the daemon; run the command as the daemon's user"
        ) from error
    except TimeoutError as error:
        raise NoDaemonError(f"{path}: the daemon did not answer; look at its log") from error
    if not answer:
        raise NoDaemonError(f"{path}: the daemon ended while it was asked; look at its log")
    said = json.loads(answer)
    if "refused" in said:
        raise NotDoneError(str(said["refused"]))
    return said["said"]


@contextmanager
def _short(path: Path) -> Iterator[str]:
    """A name for `path` that fits a socket's address, however deep its folder lies."""
    if len(os.fsencode(path)) <= _LONGEST_NAME:
        yield str(path)
        return
    folder = os.open(path.parent, os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)
