"""The demo: the whole invented room on one machine, with its own broker and simulated tanks."""

import gc
import logging
import tempfile
import threading
from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.notice import Notice
from roewatch.breeding.plan import Plan, Step
from roewatch.breeding.record import BroodRecord
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM
from roewatch.service.clock import LedClock, WallClock
from roewatch.service.daemon import Daemon, fold_of
from roewatch.service.demo_broker import DemoBroker
from roewatch.service.demo_broods import broods_of_the_boathouse
from roewatch.service.fold import Fold
from roewatch.service.port import free_port, is_free
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.watch import Watch
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.publish import Publisher
from roewatch_sim.room import Sample, SimRoom

log = logging.getLogger(__name__)

HISTORY_MS = 14 * DAY_MS
HISTORY_LOT_MS = 6 * HOUR_MS
PACK_BUDGET = 50
QUIET_S, PAUSE_S = 3.0, 0.01
EVERY_MS = MINUTE_MS
FAULT_AFTER_MS = 10 * MINUTE_MS
TANK_OF_SCENARIO = "A3"
STORE = "boathouse.db"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOptions:
    """What a person may ask of the demo."""

    speed: float = 1.0
    scenario: str | None = None
    seed: int = 1
    port: int | None = None
    folder: Path | None = None
    history_ms: int = HISTORY_MS


class PortTakenError(OSError):
    """The port asked for is another program's; the text says what to do."""


class Telephone:
    """The demo's only way to a person: it shows the notice where the demo runs."""

    def __init__(self, show: Callable[[Notice], None]) -> None:
        self._show = show

    def send(self, notice: Notice) -> None:
        """Show the notice; that is handing it over."""
        self._show(notice)


class Demo:
    """Runs until `stop` is set."""

    def __init__(
        self,
        options: DemoOptions,
        *,
        show: Callable[[Notice], None],
        heard: Callable[[AlarmChange], None],
        progress: Callable[[float], None],
    ) -> None:
        self._options = options
        self._show = show
        self._heard = heard
        self._progress = progress
        self.stop = threading.Event()
        self.fault: SimFault | None = None
        self.address = ""
        self.readings_published = 0
        self._unheard = 0
        self.failed = ""
        self.daemon: Daemon | None = None

    def run(self, ready: Callable[[], None]) -> None:
        """Make the history, start everything, and run until `stop`."""
        options = self._options
        with ExitStack() as stack:
            broker = DemoBroker()
            broker.start()
            stack.callback(broker.stop)
            folder = options.folder or Path(
                stack.enter_context(tempfile.TemporaryDirectory(prefix="roewatch-demo-"))
            )
            setup = self._setup(folder, broker.port)
            now_ms = WallClock().now_ms()
            tanks = boathouse(options.seed, now_ms - options.history_ms, every_ms=EVERY_MS)
            with _without_collecting():
                self._make_history(setup, tanks, now_ms)
            clock = LedClock(WallClock().now_ms(), options.speed, EVERY_MS)
            if options.scenario:
                self.fault = fault_of(options.scenario, clock.now_ms() + FAULT_AFTER_MS)
                tanks.inject(self.fault)
            phone = Telephone(self._show)
            channels = {way.name: phone for way in setup.ways}
            daemon = self.daemon = Daemon(
                setup,
                channels,
                clock=clock,
                heard=self._heard,
                read_again=lambda: load_setup(setup.files[0], {}),
                channel_for=lambda _: phone,  # nothing of the invented room reaches a real phone
            )
            self.address = f"http://{setup.web.host}:{setup.web.port}/"
            probes: list[threading.Thread] = []

            def started(watch: Watch) -> None:
                publish = threading.Thread(
                    target=self._publish, args=(tanks, watch, clock, broker.port), name="tanks"
                )
                probes.append(publish)
                publish.start()
                ready()

            daemon.run(started)
            for thread in probes:
                thread.join()

    def _setup(self, folder: Path, broker_port: int) -> Setup:
        """The shipped room, written into `folder` for this broker, so that any command can use it.

        Raises OSError for a folder that holds a demo already, or a port that is taken.
        """
        port = self._options.port
        if port is not None and not is_free(port):
            raise PortTakenError(
                f"127.0.0.1:{port}: another program has this port; end that one, name another with "
                "--port, or leave --port out and a free one is taken"
            )
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / "room.toml"
        if file.exists() or (folder / STORE).exists():
            raise FileExistsError(f"{folder}: holds a room already; name an empty folder")
        shipped = (shipped_config() / "room.toml").read_text(encoding="utf-8")
        file.write_text(pointed(shipped, broker_port, port or free_port()), encoding="utf-8")
        return load_setup(file, {})

    def _make_history(self, setup: Setup, tanks: SimRoom, now_ms: int) -> None:
        """Two weeks through the same judging and keeping as live readings; notices stay unsent."""
        probes = {(probe.tank, probe.quantity): probe.id for probe in setup.room.probes}
        store = Store.open(setup.storage.path)
        try:
            begin_ms = now_ms - self._options.history_ms
            fold = fold_of(setup, store, start_ms=begin_ms)
            store.keep(Kept(plans=plans_of(tanks)))
            records = broods_of_the_boathouse(now_ms, setup.room.zone)
            entered = 0
            for at_ms in range(begin_ms + HISTORY_LOT_MS, now_ms + 1, HISTORY_LOT_MS):
                samples = list(tanks.run(at_ms))
                deeds, entered = tanks.journal[entered:], len(tanks.journal)
                for kept in lived(fold, samples, deeds, probes, at_ms):
                    store.keep(without_notices(kept))
                due = [record for record in records if record.at_ms <= at_ms]
                records = records[len(due) :]
                store.keep(without_notices(recorded(fold, due, at_ms)))
                store.keep(without_notices(looked_in(fold, at_ms)))
                self._progress((at_ms - begin_ms) / self._options.history_ms)
            while store.pack_some(now_ms, PACK_BUDGET):
                pass
        finally:
            store.close()

    def _publish(self, tanks: SimRoom, watch: Watch, clock: LedClock, port: int) -> None:
        """The tanks' own thread: go on with the clock until `stop`. What ends it ends the demo.

        The daemon stops after the tanks, once it has kept what they said last.
        """
        try:
            with _speaking(port) as publisher:
                self._go_on(tanks, watch, clock, publisher)
        except (OSError, TimeoutError, OverflowError) as lost:
            # without its tanks the room would only fall silent, and every alarm would be a lie
            if not self.stop.is_set():
                log.error("demo_tanks_stopped why=%s", lost)
                self.failed = str(lost)
                self.stop.set()
        finally:
            self._let_the_daemon_finish(watch)

    def _let_the_daemon_finish(self, watch: Watch) -> None:
        if not self.failed:
            self._wait_until_kept(watch)
        if self.daemon is not None:
            self.daemon.stop.set()

    def _wait_until_kept(self, watch: Watch) -> None:
        """Until the daemon kept or refused all that the tanks said, or no more comes of it.

        What no probe of the room is tied to any more is never heard: it is waited for once.
        """
        pause = threading.Event()
        heard, quiet = -1, 0
        while quiet < QUIET_S / PAUSE_S:
            before, heard = heard, watch.counts.kept + watch.counts.refused
            if heard >= self.readings_published - self._unheard:
                return
            quiet = quiet + 1 if heard == before else 0
            pause.wait(PAUSE_S)
        self._unheard = self.readings_published - heard
        log.warning("demo_unheard published=%d heard=%d", self.readings_published, heard)

    def _go_on(self, tanks: SimRoom, watch: Watch, clock: LedClock, publisher: Publisher) -> None:
        entered = len(tanks.journal)
        while not self.stop.wait(0.05 if clock.speed > 1 else 0.5):
            to_ms = clock.goal_ms()
            samples = list(tanks.run(to_ms))
            deeds, entered = tanks.journal[entered:], len(tanks.journal)
            for deed in deeds:
                watch.enter(deed)
            self.readings_published += publisher.publish(samples)
            self._wait_until_kept(watch)
            clock.heard(to_ms)


@contextmanager
def _speaking(port: int) -> Iterator[Publisher]:
    """The simulated probes' link; what was said is acknowledged at its end."""
    publisher = Publisher("127.0.0.1", port)
    publisher.start()
    try:
        yield publisher
    finally:
        publisher.stop()


@contextmanager
def _without_collecting() -> Iterator[None]:
    """No hunt for cycles while the history is made: millions of small values live, none in one.

    Measured: a tenth of the processor time of the whole history.
    """
    gc.collect()
    gc.freeze()
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        gc.unfreeze()


def pointed(shipped: str, broker_port: int, web_port: int) -> str:
    """The shipped room file for this broker, these pages, and a store beside it.

    Raises ValueError when the file no longer has the lines to change.
    """
    for line, instead in (
        ("# port = 1883", f"port = {broker_port}"),
        ("# port = 8420", f"port = {web_port}"),
        ('# path = "roewatch.sqlite"', f'path = "{STORE}"'),
    ):
        if shipped.count(line) != 1:
            raise ValueError(f"the shipped room file has not one line {line!r}")
        shipped = shipped.replace(line, instead)
    return shipped


def fault_of(scenario: str, at_ms: int) -> SimFault:
    """The simulator's fault of that name. Raises ValueError listing those there are."""
    try:
        kind = FaultKind(scenario)
    except ValueError:
        raise ValueError(f"no scenario {scenario!r}; there are: {', '.join(FaultKind)}") from None
    of_room = kind in {FaultKind.POWER_CUT, FaultKind.ROOM_COLD}
    return SimFault(kind=kind, tank=ROOM if of_room else TANK_OF_SCENARIO, at_ms=at_ms)


def looked_in(fold: Fold, at_ms: int) -> Kept:
    """The invented keeper looks in, and acknowledges what is there: old alarms are no news."""
    asking = {State.UNACKNOWLEDGED, State.RETURNED}
    numbers = [alarm.number for alarm in fold.book.open() if alarm.state in asking]
    changes = [c for number in numbers for c in fold.book.acknowledge(number, "Keeper", at_ms)]
    return fold.changed(changes, at_ms)


def recorded(fold: Fold, records: Sequence[BroodRecord], at_ms: int) -> Kept:
    """The invented keeper's records of broods, and what they entail."""
    return fold.record(fold.broods.entails(records, at_ms), {}, at_ms)


def plans_of(tanks: SimRoom) -> list[Plan]:
    """What the simulated keeper meant the tanks to do."""
    return [
        Plan(
            tank=tank,
            quantity=quantity,
            steps=tuple(Step(at_ms=at_ms, value=value) for at_ms, value in points),
        )
        for (tank, quantity), points in tanks.plans.items()
    ]


def lived(
    fold: Fold,
    samples: Sequence[Sample],
    deeds: Sequence[JournalEntry],
    probes: Mapping[tuple[str, Quantity], str],
    at_ms: int,
) -> Iterator[Kept]:
    """A stretch of the past through the fold: each deed of the keeper's before what it caused."""
    readings = [
        Reading(probes[sample.tank, sample.quantity], sample.at_ms, sample.value)
        for sample in samples
        if (sample.tank, sample.quantity) in probes
    ]
    begun = 0
    for deed in sorted(deeds, key=lambda entry: entry.at_ms):
        until = bisect_left(readings, deed.at_ms, key=lambda reading: reading.at_ms)
        yield fold.take(readings[begun:until], at_ms)
        yield fold.enter(deed, at_ms)
        begun = max(begun, until)
    yield fold.take(readings[begun:], at_ms)
    yield fold.tick(at_ms)


def without_notices(kept: Kept) -> Kept:
    """The same, telling nobody: history is not news."""
    return Kept(
        readings=kept.readings,
        revised=kept.revised,
        states=kept.states,
        alarms=kept.alarms,
        changes=kept.changes,
        journal=kept.journal,
        broods=kept.broods,
    )
