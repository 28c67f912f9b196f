"""The beat goes the whole way or does not arrive: each stage in turn is hung on purpose."""

import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.service.by_hand import House, house

from roewatch.alarms.notice import Notice
from roewatch.intake.link import LinkState
from roewatch.outbox.sender import Sender
from roewatch.room.moment import MINUTE_MS
from roewatch.service.heart import Heart
from roewatch.service.pulse import Arteries, Pulse
from roewatch.service.settings.sections import HeartbeatSettings
from roewatch.service.systemd import ServiceManager
from roewatch.service.ways import PulseWay
from roewatch.storage.kept import Kept
from roewatch.storage.trouble import FullStoreError


class Manager(ServiceManager):
    """Remembers what it was told."""

    def __init__(self, watchdog_s: float | None = None) -> None:
        super().__init__({})
        self.watchdog_s = watchdog_s
        self.alive_said = 0

    def alive(self) -> None:
        self.alive_said += 1


class Beating:
    """A house whose heart beats; `pings` counts what the outside would have got."""

    def __init__(self, at: House) -> None:
        self.at = at
        self.pings = 0
        self.now_s = 0.0  # the sender's own count of seconds
        self.manager = Manager()
        at.ear.loops_back = True
        at.sender.stop(1.0)
        self.heart = Heart(HeartbeatSettings(), at.watch, manager=self.manager, outside=self._ping)
        at.watch.sender = at.sender = Sender(
            {"Keeper/phone": at.phone, PulseWay.NAME: self.heart.way},
            at.clock.now_ms,
            on_receipt=self.heart.receipts_to(at.watch.on_receipt),
            wanted=at.watch.wanted,
            monotonic=lambda: self.now_s,
        )

    def _ping(self) -> None:
        self.pings += 1

    def beats(self) -> bool:
        """One period; whether the beat arrived outside."""
        before = self.pings
        self.at.clock.pass_by(5 * MINUTE_MS)
        self.heart.beat(self.at.clock.now_ms())
        pause = threading.Event()
        for _ in range(40):
            self.at.round()
            if self.pings > before:
                return True
            pause.wait(0.01)
        return False


@pytest.fixture
def beating(tmp_path: Path) -> Iterator[Beating]:
    with house(tmp_path) as at:
        yield Beating(at)


def test_a_beat_goes_by_broker_store_and_sender_to_the_outside(beating: Beating) -> None:
    assert [beating.beats() for _ in range(3)] == [True, True, True]
    assert beating.at.store.states()["pulse"].split()[1] == "3"
    assert beating.manager.alive_said == 3


def test_a_broker_that_gives_nothing_back_stops_it_at_once(beating: Beating) -> None:
    assert beating.beats()
    beating.at.ear.loops_back = False
    assert not beating.beats()
    alive = beating.manager.alive_said
    assert not beating.beats()
    assert beating.manager.alive_said == alive
    beating.at.ear.loops_back = True
    assert beating.beats()


def test_a_store_that_fails_stops_it_at_once_but_is_no_hang(
    beating: Beating, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert beating.beats()

    def full(_: Kept) -> int:
        raise FullStoreError("the disk is full")

    monkeypatch.setattr(beating.at.store, "keep", full)
    alive = beating.manager.alive_said
    assert not beating.beats()
    assert not beating.beats()
    assert beating.manager.alive_said > alive, "a restart would not free the disk"
    monkeypatch.undo()
    assert beating.beats()


def test_a_loop_that_hangs_stops_it_and_the_service_manager_hears_nothing(
    beating: Beating,
) -> None:
    assert beating.beats()
    alive = beating.manager.alive_said
    hung = beating.at.watch.round
    beating.at.round = lambda: None  # type: ignore[method-assign]  # the loop is stuck somewhere
    assert not beating.beats()
    assert not beating.beats()
    assert beating.manager.alive_said == alive
    beating.at.round = hung  # type: ignore[method-assign]
    assert beating.beats()


def test_a_sender_that_hangs_stops_it(beating: Beating) -> None:
    assert beating.beats()
    with beating.heart.way.hold:
        assert not beating.beats()
        assert not beating.beats()
    beating.at.round()
    assert beating.beats() or beating.beats()


def test_a_way_that_never_returns_stops_it_within_two_periods(
    beating: Beating, monkeypatch: pytest.MonkeyPatch
) -> None:
    entered, released = threading.Event(), threading.Event()

    def hang(_: Notice) -> None:
        entered.set()
        released.wait(30)

    monkeypatch.setattr(beating.at.phone, "send", hang)
    assert beating.at.from_elsewhere(beating.at.watch.test_notices) is None
    beating.at.rounds_until(entered.is_set, "the attempt is under way")
    arrived = []
    for _ in range(4):
        beating.now_s += 301
        arrived.append(beating.beats())
    assert arrived[1:] == [False, False, False]
    released.set()
    beating.at.rounds_until(lambda: beating.at.watch.counts.receipts == 1, "it came back")
    assert beating.beats()


def test_with_the_link_down_only_the_service_manager_is_told(beating: Beating) -> None:
    assert beating.beats()
    up = beating.at.ear.link
    beating.at.ear.link = LinkState(connected=False, since_ms=0, why="nothing listens there")
    alive = beating.manager.alive_said
    assert not beating.beats()
    assert beating.manager.alive_said == alive + 1
    beating.at.ear.link = up
    assert beating.beats()


def test_a_beat_of_an_earlier_life_does_not_count(beating: Beating) -> None:
    beating.heart.beat(beating.at.clock.now_ms())
    beating.at.ear.group(first_wait_s=0)  # this life's is lost
    beating.at.ear.says(beating.at.watch.topics.pulse, b"0badc0de 1 1772445600000")
    beating.at.ear.says(beating.at.watch.topics.pulse, b"\xff\xfe")
    pause = threading.Event()
    for _ in range(30):
        beating.at.round()
        pause.wait(0.01)
    assert beating.pings == 0
    assert len(beating.at.ear.acknowledged) == 2


def test_beats_are_nothing_the_keeper_sees(beating: Beating) -> None:
    for _ in range(3):
        beating.beats()
    assert beating.at.heard == []
    assert beating.at.phone.got == []
    assert beating.at.store.due_notices(2**43) == []
    assert beating.at.watch.refusals.total == 0


def test_a_watchdog_quickens_the_beat_and_the_outside_is_asked_no_more_often(
    tmp_path: Path,
) -> None:
    with house(tmp_path) as at:
        heart = Heart(HeartbeatSettings(), at.watch, manager=Manager(watchdog_s=180))
        assert heart.every_s == 60
    pings: list[int] = []
    body: list[Pulse] = []
    pulse = Pulse(
        Arteries(
            publish=lambda payload: body[0].kept(payload.decode()),
            linked=lambda: True,
            inside=lambda _: None,
            push=lambda notice: _arrived(body[0], notice),
            hanging=list,
            outside=lambda: pings.append(1),
            alive=lambda: None,
        ),
        ping_every=5,
    )
    body.append(pulse)
    for number in range(11):
        pulse.beat(number)
    assert pulse.completed == 11
    assert len(pings) == 3, "at the first beat, and at every fifth after it"


def _arrived(pulse: Pulse, notice: Notice) -> None:
    assert pulse.handed_over(notice.id)


def test_the_service_manager_is_told_over_its_socket(tmp_path: Path) -> None:
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(path))
        listening.settimeout(5)
        manager = ServiceManager({"NOTIFY_SOCKET": str(path), "WATCHDOG_USEC": "180000000"})
        assert manager.watchdog_s == 180.0
        manager.ready()
        manager.alive()
        manager.stopping()
        assert [listening.recv(100) for _ in range(3)] == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]
    manager.alive()  # the manager is gone: no error


def test_a_watchdog_meant_for_another_process_is_not_ours(tmp_path: Path) -> None:
    env = {"NOTIFY_SOCKET": str(tmp_path / "x"), "WATCHDOG_USEC": "1000000"}
    assert ServiceManager(env | {"WATCHDOG_PID": str(os.getpid() + 1)}).watchdog_s is None
    assert ServiceManager(env | {"WATCHDOG_PID": str(os.getpid())}).watchdog_s == 1.0
    assert ServiceManager({}).watchdog_s is None
