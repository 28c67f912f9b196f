"""A VictoriaMetrics of the tests' own, on loopback, that can be killed and started again."""

import shutil
import socket
import subprocess
import urllib.request
from pathlib import Path
from threading import Event


class VictoriaServer:
    """Its data lives in `folder` and survives `kill`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        program = shutil.which("victoria-metrics")
        assert program is not None
        self._process = subprocess.Popen(
            [
                program,
                f"-httpListenAddr=127.0.0.1:{self.port}",
                f"-storageDataPath={self._folder}",
                "-retentionPeriod=100y",
                "-dedup.minScrapeInterval=1ms",
                "-memory.allowedBytes=64MB",
                "-loggerLevel=ERROR",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        pause = Event()
        for _ in range(400):
            try:
                with urllib.request.urlopen(f"{self.url}/health", timeout=5):
                    return
            except OSError:
                assert self._process.poll() is None, "victoria-metrics did not start"
                pause.wait(0.05)
        raise AssertionError("victoria-metrics did not answer within 20 s")

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)

    def flush(self) -> None:
        """Make what was written visible to queries now, not in a second."""
        with urllib.request.urlopen(f"{self.url}/internal/force_flush", timeout=10):
            pass
