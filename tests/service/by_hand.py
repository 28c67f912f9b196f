"""A watch driven by hand: round by round in the test's own thread, its clock moved by the test.

Broker and receivers are the test's; judge, book, teller and store are real.
"""

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from roewatch.alarms.alarm import Alarm, AlarmChange
from roewatch.alarms.notice import Notice
from roewatch.intake.link import LinkState
from roewatch.intake.listener import Message, Token
from roewatch.outbox.channel import TryLater
from roewatch.outbox.sender import Sender
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS, SECOND_MS, at_ms_of_iso, iso
from roewatch.room.tank import Probe
from roewatch.service.founding import fold_of
from roewatch.service.settings.load import Setup, load_setup
from roewatch.service.watch import Watch
from roewatch.storage.reader import Records
from roewatch.storage.store import Store

NOON = at_ms_of_iso("2026-03-02T10:00:00Z")
BOUND_S = 20.0

_ROOM = """
[room]
name = "The Boathouse"
id = "boathouse"
timezone = "Europe/Tallinn"
[broker]
port = 1
[telling]
high_wait = "0.001 s"
group_wait = "0.001 s"
start_hold = "0.001 s"
well_at = "never"
digest_at = "never"
[[contact]]
name = "Keeper"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/keeper"
"""
_TANK = """
[[tank]]
id = "{tank}"
litres = 20
heater_watts = 50
species = "boraras-brigittae"
stage = "{stage}"
[[probe]]
tank = "{tank}"
quantity = "temperature"
topic = "house/{tank}"
every = "60 s"
"""
_TIMED = """format = "json"
pointer = "/v"
time_pointer = "/t"
"""


def room_file(
    folder: Path, *tanks: str, stage: str = "holding", more: str = "", timed: bool = True
) -> Path:
    """A room of these tanks, one thermometer each; timed: it says when it measured."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "room.toml"
    text = [
        _ROOM,
        more,
        *(_TANK.format(tank=tank, stage=stage) + _TIMED * timed for tank in tanks or ("A1",)),
    ]
    file.write_text("\n".join(text), encoding="utf-8")
    return file


class HandClock:
    """Stands still until it is moved; `set_by` moves it without time passing."""

    speed = 1.0

    def __init__(self, at_ms: int = NOON) -> None:
        self._at_ms = at_ms
        self._ticked_s = 0.0

    def now_ms(self) -> int:
        return self._at_ms

    def monotonic(self) -> float:
        return self._ticked_s

    def pass_by(self, span_ms: int) -> None:
        """Time passes."""
        self._at_ms += span_ms
        self._ticked_s += span_ms / 1000

    def set_by(self, span_ms: int) -> None:
        """The clock is put right, or wrong."""
        self._at_ms += span_ms


class HandEar:
    """What a listener is to the watch. Everything that happens is in `told`, in order."""

    def __init__(self, clock: HandClock) -> None:
        self.link = LinkState(connected=True, since_ms=clock.now_ms() - MINUTE_MS, why="")
        self.acknowledged: list[Message] = []
        self.published: list[tuple[str, bytes, bool]] = []
        self.order: list[str] = []
        self.loops_back = False
        self._clock = clock
        self._waiting: list[Message] = []
        self._mid = 0

    def says(self, topic: str, payload: bytes, *, retained: bool = False) -> None:
        """A message comes."""
        self._mid += 1
        token = Token(self._mid, 1, 1)
        message = Message(
            topic, payload, retained, self._clock.now_ms(), token, ticked_s=self._clock.monotonic()
        )
        self.hears(message)

    def hears(self, message: Message) -> None:
        """A message comes as it is."""
        self._waiting.append(message)

    def group(self, *, first_wait_s: float, slow_s: float = 0.0) -> list[Message]:
        group, self._waiting = self._waiting, []
        return group

    def wake(self) -> None: ...

    def acknowledge(self, messages: Sequence[Message]) -> None:
        self.order.append(f"acknowledged {len(messages)}")
        self.acknowledged += messages

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self.published.append((topic, payload, retain))
        if self.loops_back:
            self.says(topic, payload)


class Phone:
    """A way that takes everything, or nothing."""

    def __init__(self) -> None:
        self.got: list[Notice] = []
        self.down = False
        self.changed = threading.Condition()

    def send(self, notice: Notice) -> None:
        if self.down:
            raise TryLater("nobody answers")
        with self.changed:
            self.got.append(notice)
            self.changed.notify_all()


class House:
    """The watch and everything around it that a test may look at or move."""

    def __init__(self, setup: Setup, clock: HandClock, phone: Phone) -> None:
        self.setup = setup
        self.clock = clock
        self.ear = HandEar(clock)
        self.phone = phone
        self.heard: list[AlarmChange] = []
        self.store = Store.open(setup.storage.path)
        self.watch = Watch(
            room_id=setup.room.id,
            bindings=setup.bindings,
            fold=fold_of(setup, self.store),
            store=self.store,
            listener=self.ear,
            clock=clock,
            heard=self.heard.append,
            monotonic=clock.monotonic,
        )
        self.watch.start()
        self.watch.sender = self.sender = Sender(
            {"Keeper/phone": phone},
            clock.now_ms,
            on_receipt=self.watch.on_receipt,
            wanted=self.watch.wanted,
        )

    def speaks(self, tank: str, celsius: float, *, at_ms: int | None = None) -> None:
        """The tank's thermometer says so, with its own time."""
        when = iso(self.clock.now_ms() if at_ms is None else at_ms)
        self.ear.says(f"house/{tank}", json.dumps({"t": when, "v": celsius}).encode())

    def lives(self, minutes: int, celsius: float = 26.5) -> None:
        """Every tank speaks once a minute, and the rounds go on."""
        for _ in range(minutes):
            self.clock.pass_by(MINUTE_MS)
            for tank in self.setup.room.tanks:
                self.speaks(tank.id, celsius)
            self.watch.tick()
            self.round()

    def idles(self, minutes: int) -> None:
        """Nobody speaks; the rounds go on."""
        for _ in range(minutes * 2):
            self.clock.pass_by(30 * SECOND_MS)
            self.watch.tick()
            self.round()

    def round(self) -> None:
        self.watch.round()

    def rounds_until(self, met: Callable[[], bool], what: str) -> None:
        """Rounds, until the sender's thread or another has done its part."""
        pause = threading.Event()
        for _ in range(int(BOUND_S * 100)):
            self.watch.round()
            if met():
                return
            pause.wait(0.01)
        raise AssertionError(f"it never came about that {what}")

    def from_elsewhere(self, errand: Callable[[], object]) -> BaseException | None:
        """Do it as a page would, in another thread; returns what it raised."""
        raised: list[BaseException] = []

        def work() -> None:
            try:
                errand()
            except Exception as error:  # noqa: BLE001  # whatever it was, the test looks at it
                raised.append(error)

        thread = threading.Thread(target=work)
        thread.start()
        self.rounds_until(lambda: not thread.is_alive(), "the errand is answered")
        return raised[0] if raised else None

    def open_alarms(self, kind: Kind | None = None) -> list[Alarm]:
        return [a for a in self.store.open_alarms() if kind in (None, a.kind)]

    def raised(self, *kinds: Kind) -> list[AlarmChange]:
        return [c for c in self.heard if c.alarm.kind in kinds and c.alarm.state.value == RAISED]

    def kept(self, probe: str = "a1-temperature") -> list[tuple[int, float, int]]:
        """Moment, value and flag of what the store has of a probe."""
        records = Records(self.setup.storage.path)
        try:
            series = records.series(self._probe(probe), 0, 2**43)
            return list(zip(series.at_ms, series.value, series.flag, strict=True))
        finally:
            records.close()

    def _probe(self, name: str) -> Probe:
        return next(probe for probe in self.setup.room.probes if probe.id == name)

    def close(self) -> None:
        self.sender.stop(1.0)
        self.store.close()


RAISED = "unacknowledged"


@contextmanager
def house(
    folder: Path,
    *tanks: str,
    clock: HandClock | None = None,
    stage: str = "holding",
    timed: bool = True,
) -> Iterator[House]:
    """A house with its watch started; opened again in the same folder it is a restart."""
    file = folder / "room.toml"
    if not file.exists():
        room_file(folder, *tanks, stage=stage, timed=timed)
    opened = House(load_setup(file, {}), clock or HandClock(), Phone())
    try:
        yield opened
    finally:
        opened.close()
