"""The daemon: every part wired to every other, started and stopped in the right order."""

import logging
import os
import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass

from roewatch.alarms.alarm import AlarmChange
from roewatch.intake.listener import Listener
from roewatch.outbox.channel import Channel
from roewatch.outbox.sender import Sender
from roewatch.service.access import access_of, keyed, link_key
from roewatch.service.brood_errands import brood_errands
from roewatch.service.broods import Broods
from roewatch.service.clock import Clock, WallClock
from roewatch.service.control_errands import control_of
from roewatch.service.deeds import Hands
from roewatch.service.founding import fold_of
from roewatch.service.heart import Heart
from roewatch.service.live import LiveRoom, RoomRecords
from roewatch.service.mirroring import Mirroring
from roewatch.service.own_topics import OwnTopics
from roewatch.service.pictures import Pictures
from roewatch.service.reload import Reload, topics_of
from roewatch.service.rounds import DELIVER_S, TICK_S, Rounds
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.status import Status, status_text
from roewatch.service.upkeep import Upkeep, hands_of
from roewatch.service.watch import Watch
from roewatch.service.ways import PulseWay
from roewatch.service.workshop import Workshop
from roewatch.storage.backup import open_or_set_aside
from roewatch.storage.trouble import StoreError
from roewatch.views.week import Past

__all__ = ["Daemon", "Parts", "fold_of"]

log = logging.getLogger(__name__)

STOP_WAIT_S = 10.0


@dataclass(frozen=True, slots=True)
class Parts:
    """What a caller may look at while the daemon runs."""

    watch: Watch
    records: RoomRecords
    heart: Heart
    reload: Reload


class Daemon:
    """One fish room's daemon. `run` blocks until `stop` is set.

    read_again: reads the settings anew for a reload; by default from where they came.
    """

    def __init__(
        self,
        setup: Setup,
        channels: Mapping[str, Channel],
        *,
        clock: Clock | None = None,
        heard: Callable[[AlarmChange], None] = lambda _: None,
        read_again: Callable[[], Setup] | None = None,
    ) -> None:
        self._setup = setup
        self._channels = dict(channels)
        self._clock = clock or WallClock()
        self._heard = heard
        self._topics = OwnTopics.of(setup.room.id)
        self._read_again = read_again or (lambda: load_setup(setup.files[0], os.environ))
        self.stop = threading.Event()
        self.parts: Parts | None = None

    def run(self, ready: Callable[[Watch], None] = lambda _: None) -> None:
        """Start everything, call `ready`, watch until `stop`, and put everything away.

        Raises DamagedStoreError when the file is found damaged while it is used: started again,
        the daemon sets it aside and begins a new one.
        """
        key, clock = link_key(self._setup.storage.path), self._clock
        setup = self._setup = keyed(self._setup, key)
        with ExitStack() as stack:
            store, aside = open_or_set_aside(setup.storage.path, now_ms=clock.now_ms())
            stack.callback(store.close)
            if aside is not None:
                log.error("store_damaged why=%r set_aside=%s", aside.why, aside.path)
            listener = self._listener(setup)
            watch = Watch(
                room_id=setup.room.id,
                bindings=setup.bindings,
                fold=fold_of(setup, store),
                store=store,
                listener=listener,
                clock=clock,
                heard=self._heard,
            )
            watch.start()
            hands = hands_of(setup.storage.path, watch.own, clock.now_ms)
            watch.upkeep = Upkeep(store, setup.storage, lambda: watch.room.probes, hands)
            records = RoomRecords(setup.storage.path, setup.room)
            stack.callback(records.close)

            heart = Heart(setup.heartbeat, watch, speed=clock.speed)
            stack.callback(heart.stop)
            watch.sender = Sender(
                {**self._channels, PulseWay.NAME: heart.way},
                clock.now_ms,
                on_receipt=heart.receipts_to(watch.on_receipt),
                wanted=watch.wanted,
                picture=Pictures(records, lambda: watch.room, clock.now_ms, self._past()).of,
            )
            reload = Reload(
                setup, watch, store, self._listener, lambda: keyed(self._read_again(), key)
            )
            reload.on_taken = lambda new: records.settle(new.room)
            self.parts = Parts(watch, records, heart, reload)
            listener.start()
            stack.callback(lambda: _stop_ear(watch))
            workshop = Workshop(reload, watch, clock, os.environ)
            stack.callback(workshop.stop)
            broods = self._broods(watch, records)
            self._serve_pages(stack, watch, records, workshop, broods)
            stack.enter_context(
                control_of(setup, watch, clock, reload, more=brood_errands(watch, broods, clock))
            )
            status = Status(since_ms=clock.now_ms())
            self._start_rounds(stack, watch, heart, status)
            self._start_mirror(stack, watch)
            stack.enter_context(reload.on_hangup())
            self._say(watch, status, "watching")
            heart.ready()
            ready(watch)
            watch.run(self.stop)
            heart.stopping()
            self._say(watch, status, "stopped")

    def _listener(self, setup: Setup) -> Listener:
        return Listener(
            setup.broker,
            topics_of(setup),
            self._clock.now_ms,
            will=(self._topics.status, status_text(Status(self._clock.now_ms()), "gone")),
        )

    def _say(self, watch: Watch, status: Status, word: str) -> None:
        payload = status_text(status, word, watch.counts)
        watch.publish(self._topics.status, payload, retain=True)

    def _start_rounds(self, stack: ExitStack, watch: Watch, heart: Heart, status: Status) -> None:
        def beat() -> None:
            heart.beat(self._clock.now_ms())
            self._say(watch, status, "watching")

        rounds = Rounds(self._clock.speed)
        rounds.every(TICK_S, watch.tick, "tick")
        rounds.every(DELIVER_S, watch.deliver, "deliver")
        rounds.every(heart.every_s, beat, "beat")
        rounds.start()
        stack.callback(rounds.stop)

    def _start_mirror(self, stack: ExitStack, watch: Watch) -> None:
        if self._setup.mirror.enabled:
            mirroring = Mirroring(self._setup, watch.mirrored)
            mirroring.start()
            stack.callback(lambda: mirroring.stop(STOP_WAIT_S))

    def _past(self) -> Past:
        """What charts of the past go by: the settings, as they are after the last reload."""

        def now() -> Setup:
            return self.parts.reload.setup if self.parts else self._setup

        return Past(
            windows_of=lambda tank, stage: now().windows_of(tank, stage),
            named_of=lambda tank: now().stage_named(tank),
        )

    def _broods(self, watch: Watch, records: RoomRecords) -> Broods:
        return Broods(
            records,
            lambda: watch.room,
            lambda: (self.parts.reload.setup if self.parts else self._setup).species,
            write=watch.record,
            remember=watch.remember,
        )

    def _serve_pages(
        self,
        stack: ExitStack,
        watch: Watch,
        records: RoomRecords,
        workshop: Workshop,
        broods: Broods,
    ) -> None:
        # the pages take as long to load as all the rest; by now the probes are already heard
        import uvicorn  # noqa: PLC0415

        from roewatch.views.app import app_of  # noqa: PLC0415

        web = self._setup.web
        app = app_of(
            records,
            LiveRoom(watch, self._clock),
            Hands(watch),
            settings=web,
            past=self._past(),
            access=access_of(self._setup),
            broods=broods,
            keepers=[contact.name for contact in self._setup.contacts],
            workshop=workshop,
            unreadable=StoreError,
        )
        server = uvicorn.Server(
            uvicorn.Config(
                app,
                host=web.host,
                port=web.port,
                log_level="warning",
                lifespan="off",
                timeout_graceful_shutdown=1,  # pages that stay open do not hold up the end
            )
        )
        thread = threading.Thread(target=server.run, name="pages", daemon=True)
        thread.start()

        def put_away() -> None:
            server.should_exit = True
            thread.join(STOP_WAIT_S)

        stack.callback(put_away)


def _stop_ear(watch: Watch) -> None:
    # not the first one: a reload may have put another in its place
    if isinstance(watch.ear, Listener):
        watch.ear.stop()
