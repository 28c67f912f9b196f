"""A reload: the settings read again while the daemon runs, and taken over as far as that goes."""

import logging
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

from roewatch.intake.listener import Listener
from roewatch.room.fault import SettingsError
from roewatch.service.at_hand import topics_of
from roewatch.service.founding import fold_of
from roewatch.service.loop import Ear
from roewatch.service.settings.load import Setup
from roewatch.service.settings.setup import WaySettings
from roewatch.service.watch import Watch
from roewatch.storage.store import Store

log = logging.getLogger(__name__)

_AT_A_START = ("storage", "mirror", "web", "heartbeat", "access")
"""Parts of the setup that are built once: a change there waits for the next start."""


class Reload:
    """Takes new settings over: tanks, probes, windows, judging, telling, ways, topics to listen on.

    Settings with a fault change nothing; every fault is logged.
    """

    def __init__(
        self,
        setup: Setup,
        watch: Watch,
        store: Store,
        listener_of: Callable[[Setup], Listener],
        read: Callable[[], Setup],
    ) -> None:
        self.setup = setup
        self._watch = watch
        self._store = store
        self._listener_of = listener_of
        self._read = read
        self.on_taken: Callable[[Setup], None] = lambda _: None
        self.serve: Callable[[Sequence[WaySettings]], None] = lambda _: None
        """Serves these ways from now on; called before anybody is told by a new one."""

    def __call__(self) -> bool:
        """Read and take over; returns whether that was done. From any thread but the loop's."""
        try:
            new = self._read()
        except SettingsError as error:
            for line in str(error).splitlines():
                log.error("settings_not_reloaded %s", line)
            return False
        except OSError as error:
            log.error("settings_not_reloaded why=%r", str(error))
            return False
        later = self._later(new)
        if new.room.id != self.setup.room.id:
            log.error("settings_not_reloaded why='the room has another id; start again for that'")
            return False
        new = self._with_what_stays(new)
        other_ways = new.ways != self.setup.ways
        if other_ways:
            # both, until nobody is told by the old ones any more
            self.serve([*self.setup.ways, *new.ways])
        same_ear = (topics_of(new), new.broker) == (topics_of(self.setup), self.setup.broker)
        self._watch.rewire(
            new.bindings,
            lambda faults: fold_of(new, self._store, faults=faults),
            (lambda ear: ear) if same_ear else (lambda ear: self._listening_anew(ear, new)),
        )
        if other_ways:
            self.serve(new.ways)
        self.setup = new
        self.on_taken(new)
        log.info("settings_reloaded tanks=%d probes=%d", len(new.room.tanks), len(new.room.probes))
        if later:
            log.warning("settings_need_a_start sections=%s", ",".join(later))
        return True

    @contextmanager
    def on_hangup(self) -> Iterator[None]:
        """While inside, SIGHUP reloads; only where the main thread runs the daemon."""
        number = getattr(signal, "SIGHUP", None)
        if number is None or threading.current_thread() is not threading.main_thread():
            yield
            return

        def hung_up(*_: object) -> None:
            # in a thread of its own: the loop that must answer runs in this one
            threading.Thread(target=self, name="reload", daemon=True).start()

        before = signal.signal(number, hung_up)
        try:
            yield
        finally:
            signal.signal(number, before)

    def _later(self, new: Setup) -> Sequence[str]:
        return [n for n in _AT_A_START if getattr(new, n) != getattr(self.setup, n)]

    def _with_what_stays(self, new: Setup) -> Setup:
        old = self.setup
        return replace(
            new,
            storage=old.storage,
            mirror=old.mirror,
            web=old.web,
            heartbeat=old.heartbeat,
        )

    def _listening_anew(self, ear: Ear, setup: Setup) -> Ear:
        if isinstance(ear, Listener):
            ear.stop()
        listener = self._listener_of(setup)
        listener.start()
        return listener
