"""Mirroring: the mirror's own thread, which nothing else waits for."""

import logging
import threading
from collections.abc import Callable, Mapping

from roewatch.service.mirrored import shipping_to
from roewatch.service.settings.setup import Setup
from roewatch.storage.mirror import Mirror
from roewatch.storage.reader import Records
from roewatch.storage.target import Target

log = logging.getLogger(__name__)

AGAIN_S = 60.0

Save = Callable[[Mapping[str, int]], None]


class Mirroring:
    """Ships from `start` to `stop`. A bug in shipping is logged, and shipping begun again."""

    def __init__(
        self,
        setup: Setup,
        save: Save,
        target: Callable[[Setup], Target] = lambda setup: shipping_to(setup.mirror, setup.room.id),
        *,
        again_s: float = AGAIN_S,
    ) -> None:
        """save: has the saved position kept by the store's own thread."""
        self._setup = setup
        self._save = save
        self._target = target
        self._again_s = again_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="mirror", daemon=True)

    def start(self) -> None:
        """Begin to ship, from where it is sure."""
        self._thread.start()

    def stop(self, timeout_s: float) -> None:
        """End after the batch under way; one that hangs is left to itself."""
        self._stop.set()
        self._thread.join(timeout_s)

    def _work(self) -> None:
        failed = ""
        while not self._stop.is_set():
            try:
                self._ship()
            except Exception as error:  # the mirror may lag, never end
                if str(error) != failed:
                    log.warning("mirror_broken again_in_s=%g", self._again_s, exc_info=error)
                failed = str(error)
                self._stop.wait(self._again_s)

    def _ship(self) -> None:
        mirrored = self._setup.mirror
        records = Records(self._setup.storage.path)
        try:
            target = self._target(self._setup)
            try:
                mirror = Mirror(
                    records,
                    target,
                    self._setup.room.probes,
                    self._save,
                    margin_s=mirrored.overlap / 1000,
                )
                mirror.run(self._stop, every_s=mirrored.every / 1000)
            finally:
                target.close()
        finally:
            records.close()
