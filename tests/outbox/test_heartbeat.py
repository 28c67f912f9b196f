"""The heartbeat: it asks a real address, survives its failures and never piles up."""

import logging
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from roewatch.outbox.channel import UnusableWay
from roewatch.outbox.heartbeat import Heartbeat

BOUND_S = 10.0


class Watcher:
    """The outside watcher: counts beats, and may answer badly or hang."""

    def __init__(self) -> None:
        self.status = 200
        self.beats = 0
        self.changed = threading.Condition()
        self.free = threading.Event()
        self.free.set()
        watcher = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                with watcher.changed:
                    watcher.beats += 1
                    watcher.changed.notify_all()
                watcher.free.wait(BOUND_S)
                self.send_response(watcher.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *args: Any) -> None:
                """Say nothing."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}/ping/s3cr3t-token"

    def wait_for(self, count: int) -> None:
        with self.changed:
            assert self.changed.wait_for(lambda: self.beats >= count, BOUND_S)


@pytest.fixture
def watcher() -> Iterator[Watcher]:
    made = Watcher()
    yield made
    made.free.set()
    made.server.shutdown()
    made.server.server_close()


def test_each_beat_asks_the_address_once(watcher: Watcher) -> None:
    heart = Heartbeat(watcher.url)
    for count in (1, 2, 3):
        heart.beat()
        watcher.wait_for(count)
    heart.stop(BOUND_S)
    assert (watcher.beats, heart.trouble) == (3, "")


def test_beats_do_not_pile_up_behind_a_watcher_that_hangs(watcher: Watcher) -> None:
    watcher.free.clear()
    heart = Heartbeat(watcher.url)
    heart.beat()
    watcher.wait_for(1)
    for _ in range(50):
        heart.beat()
    watcher.free.set()
    watcher.wait_for(2)
    heart.stop(BOUND_S)
    assert watcher.beats == 2


def test_a_loss_and_a_recovery_are_logged_once_each_and_hide_the_address(
    watcher: Watcher, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "roewatch.outbox.heartbeat")
    heart = Heartbeat(watcher.url)
    for count, status in enumerate((500, 500, 200, 200), start=1):
        watcher.status = status
        heart.beat()
        watcher.wait_for(count)
    heart.stop(BOUND_S)
    assert [record.getMessage() for record in caplog.records] == [
        "heartbeat_lost reason='the watcher answered 500'",
        "heartbeat_back missed=2",
    ]


def test_a_watcher_that_is_away_says_why_without_the_address() -> None:
    heart = Heartbeat("http://127.0.0.1:9/ping/s3cr3t-token", timeout_s=1.0)
    heart.beat()
    heart.stop(BOUND_S)
    assert heart.trouble.startswith("no connection to the watcher")
    assert "s3cr3t" not in heart.trouble


def test_an_address_that_is_none_is_refused_at_once() -> None:
    with pytest.raises(UnusableWay):
        Heartbeat("http://")
