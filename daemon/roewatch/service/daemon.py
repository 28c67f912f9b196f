"""The daemon: every part wired to every other, started and stopped in the right order."""

import json
import logging
import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass

import uvicorn

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.telling import Teller
from roewatch.intake.listener import Listener
from roewatch.judging.judge import Judge
from roewatch.outbox.channel import Channel
from roewatch.outbox.sender import Sender
from roewatch.service.clock import Clock, WallClock
from roewatch.service.deeds import Hands
from roewatch.service.fold import TELLER_KEY, Fold
from roewatch.service.live import LiveRoom, RoomRecords
from roewatch.service.rounds import DELIVER_S, TICK_S, Rounds
from roewatch.service.settings.load import Setup
from roewatch.service.watch import Watch
from roewatch.storage.store import Store
from roewatch.views.app import app_of

log = logging.getLogger(__name__)

STOP_WAIT_S = 10.0


@dataclass(frozen=True, slots=True)
class Parts:
    """What a caller may look at while the daemon runs."""

    watch: Watch
    records: RoomRecords


def fold_of(setup: Setup, store: Store, *, start_ms: int | None = None) -> Fold:
    """Judge, book and teller, put back from what the store holds."""
    states = store.states()
    judge = Judge(setup.room, setup.limits, start_ms=start_ms)
    judge.restore({key: text for key, text in states.items() if key != TELLER_KEY})
    book = AlarmBook(
        setup.room,
        store.open_alarms(),
        next_number=store.next_alarm_number(),
        episodes=store.episodes(),
    )
    teller = Teller(
        setup.room, setup.contacts, state=states.get(TELLER_KEY), settings=setup.telling
    )
    return Fold(judge, book, teller)


class Daemon:
    """One fish room's daemon. `run` blocks until `stop` is set."""

    def __init__(
        self,
        setup: Setup,
        channels: Mapping[str, Channel],
        *,
        clock: Clock | None = None,
        heard: Callable[[AlarmChange], None] = lambda _: None,
    ) -> None:
        self._setup = setup
        self._channels = channels
        self._clock = clock or WallClock()
        self._heard = heard
        self.stop = threading.Event()
        self.parts: Parts | None = None

    def run(self, ready: Callable[[Watch], None] = lambda _: None) -> None:
        """Start everything, call `ready`, watch until `stop`, and put everything away."""
        setup, clock = self._setup, self._clock
        with ExitStack() as stack:
            store = Store.open(setup.storage.path)
            stack.callback(store.close)
            fold = fold_of(setup, store)
            listener = self._listener()
            watch = Watch(
                room_id=setup.room.id,
                bindings=setup.bindings,
                fold=fold,
                store=store,
                listener=listener,
                clock=clock,
                heard=self._heard,
            )
            watch.start()
            records = RoomRecords(setup.storage.path, setup.room)
            stack.callback(records.close)
            self.parts = Parts(watch, records)

            sender = Sender(
                self._channels, clock.now_ms, on_receipt=watch.on_receipt, wanted=watch.wanted
            )
            watch.sender = sender
            listener.start()
            stack.callback(listener.stop)
            self._serve_pages(stack, watch, records, listener)
            self._start_rounds(stack, watch)
            listener.publish(self._status_topic, _status("watching"), retain=True)
            ready(watch)
            watch.run(self.stop)
            listener.publish(self._status_topic, _status("stopped"), retain=True)

    @property
    def _status_topic(self) -> str:
        return f"roewatch/{self._setup.room.id}/status"

    def _listener(self) -> Listener:
        return Listener(
            self._setup.broker,
            sorted({binding.topic for binding in self._setup.bindings}),
            self._clock.now_ms,
            will=(self._status_topic, _status("gone")),
        )

    def _start_rounds(self, stack: ExitStack, watch: Watch) -> None:
        rounds = Rounds(self._clock.speed)
        rounds.every(TICK_S, watch.tick, "tick")
        rounds.every(DELIVER_S, watch.deliver, "deliver")
        rounds.start()
        stack.callback(rounds.stop)

    def _serve_pages(
        self, stack: ExitStack, watch: Watch, records: RoomRecords, listener: Listener
    ) -> None:
        web = self._setup.web
        app = app_of(
            records,
            LiveRoom(self._setup.room, watch, listener, self._clock),
            Hands(watch),
            settings=web,
        )
        server = uvicorn.Server(
            uvicorn.Config(app, host=web.host, port=web.port, log_level="warning", lifespan="off")
        )
        thread = threading.Thread(target=server.run, name="pages", daemon=True)
        thread.start()

        def put_away() -> None:
            server.should_exit = True
            thread.join(STOP_WAIT_S)

        stack.callback(put_away)


def _status(word: str) -> bytes:
    return json.dumps({"state": word}).encode()
