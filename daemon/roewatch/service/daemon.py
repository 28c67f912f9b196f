"""The daemon: every part wired to every other, started and stopped in the right order."""

import logging
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass

from roewatch.alarms.alarm import AlarmChange
from roewatch.intake.listener import Listener
from roewatch.outbox.channel import Channel, channel_of
from roewatch.outbox.sender import Sender
from roewatch.service.access import access_of, keyed, link_key
from roewatch.service.at_hand import AtHand, at_hand, listener_of
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
from roewatch.service.reload import Reload
from roewatch.service.room_file import RoomFile
from roewatch.service.rounds import DELIVER_S, TICK_S, Rounds
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.settings.setup import WaySettings
from roewatch.service.status import Status, status_text
from roewatch.service.upkeep import Upkeep, hands_of
from roewatch.service.watch import Watch
from roewatch.service.ways import PulseWay
from roewatch.service.workshop import Workshop
from roewatch.storage.trouble import StoreError
from roewatch.views.week import Past

__all__ = ["Daemon", "Parts", "fold_of"]

log = logging.getLogger(__name__)

STOP_WAIT_S = 10.0
GOOD_FOR_BEATS = 3  # of the status, which is said at every beat: two may be lost


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
    hand: store and listener, when the caller has them already and puts them away.
    channel_for: makes the channel of a way that is new after a reload; by default the real one.
    """

    def __init__(
        self,
        setup: Setup,
        channels: Mapping[str, Channel],
        *,
        clock: Clock | None = None,
        heard: Callable[[AlarmChange], None] = lambda _: None,
        read_again: Callable[[], Setup] | None = None,
        hand: AtHand | None = None,
        channel_for: Callable[[WaySettings], Channel] = channel_of,
    ) -> None:
        self._setup = setup
        self._served = {way.name: (way, channels[way.name]) for way in setup.ways}
        self._channel_for = channel_for
        self._clock = clock or WallClock()
        self._heard = heard
        self._topics = OwnTopics.of(setup.room.id)
        self._hand = hand
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
            hand = self._hand or stack.enter_context(at_hand(setup, clock))
            store = hand.store
            watch = Watch(
                room_id=setup.room.id,
                bindings=setup.bindings,
                fold=fold_of(setup, store),
                store=store,
                listener=hand.listener,
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
            sender = watch.sender = Sender(
                self._channels_of(setup.ways) | {PulseWay.NAME: heart.way},
                clock.now_ms,
                on_receipt=heart.receipts_to(watch.on_receipt),
                wanted=watch.wanted,
                picture=Pictures(records, lambda: watch.room, clock.now_ms, self._past()).of,
            )
            reload = Reload(
                setup,
                watch,
                store,
                lambda new: listener_of(new, clock),
                lambda: keyed(self._read_again(), key),
            )
            reload.serve = lambda ways: sender.serve(
                self._channels_of(ways) | {PulseWay.NAME: heart.way}
            )
            reload.on_taken = lambda new: records.settle(new.room)
            self.parts = Parts(watch, records, heart, reload)
            stack.callback(lambda: _stop_ear(watch))
            workshop = Workshop(RoomFile(reload, os.environ), watch, clock)
            stack.callback(workshop.stop)
            broods = self._broods(watch, records)
            self._serve_pages(stack, watch, records, workshop, broods)
            stack.enter_context(
                control_of(setup, watch, clock, reload, more=brood_errands(watch, broods, clock))
            )
            status = Status(
                clock.now_ms(), good_for_ms=round(GOOD_FOR_BEATS * heart.every_s * 1000)
            )
            self._start_rounds(stack, watch, heart, status)
            self._start_mirror(stack, watch)
            stack.enter_context(reload.on_hangup())
            self._say(watch, status, "watching")
            heart.ready()
            ready(watch)
            watch.run(self.stop)
            heart.stopping()
            self._say(watch, status, "stopped")

    def _channels_of(self, ways: Sequence[WaySettings]) -> dict[str, Channel]:
        """The channel of each way; one whose settings have not changed keeps its own."""
        for way in ways:
            known = self._served.get(way.name)
            if known is None or known[0] != way:
                self._served[way.name] = (way, self._channel_for(way))
        return {way.name: self._served[way.name][1] for way in ways}

    def _say(self, watch: Watch, status: Status, word: str) -> None:
        if word == "watching" and watch.waits_for_clock:
            word = "waiting"
        payload = status_text(status, word, watch.counts, at_ms=self._clock.now_ms())
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

        from roewatch.service.page_server import PageServer  # noqa: PLC0415
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
            workshop=workshop,
            unreadable=StoreError,
        )
        server = PageServer(
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
