"""The mirror: nothing is skipped, whatever fails where; repeats are harmless."""

import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.storage.builders import NOON, alarm, probe, said

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.breeding.count import Counted, count_of
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS
from roewatch.room.reading import Flag
from roewatch.storage.day import cells_of
from roewatch.storage.kept import Kept
from roewatch.storage.line import Event, event_line, reading_lines
from roewatch.storage.manifest import Manifest
from roewatch.storage.mirror import Difference, Mirror, compare
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.target import Batch, Pigeonhole, TargetDownError

PROBES = (probe("a1-temp"), probe("a1-ph"))
EVER = 2**42
DAY = NOON // DAY_MS


class Forgetful(Pigeonhole):
    """A target that can be down, and that loses what it has not yet written when it dies."""

    def __init__(self) -> None:
        super().__init__()
        self.down = False
        self.takes = 0
        self._restarted = False
        self._unwritten: list[tuple[Batch, Sequence[Event]]] = []

    def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
        if self.down:
            raise TargetDownError("target: refused")
        self.takes += 1
        self.connections += self._restarted  # as urllib3 opens another in silence
        self._restarted = False
        self._unwritten.append((readings, events))

    def look(self) -> None:
        if self.down:
            raise TargetDownError("target: refused")
        self.connections += self._restarted
        self._restarted = False

    def write(self) -> None:
        for readings, events in self._unwritten:
            super().take(readings, events)
        self._unwritten.clear()

    def die_and_start_again(self) -> None:
        self._unwritten.clear()
        self._restarted = True


Made = Callable[..., Mirror]


@pytest.fixture
def target() -> Forgetful:
    return Forgetful()


@pytest.fixture
def made(store: Store, records: Records, target: Forgetful) -> Made:
    """A mirror as the daemon makes it at each start."""

    def make(*, margin_s: float = 30, batch: int = 10_000) -> Mirror:
        return Mirror(records, target, PROBES, store.mirrored, margin_s=margin_s, batch=batch)

    return make


def _caught_up(mirror: Mirror) -> int:
    shipped = 0
    while n := mirror.step():
        shipped += n
    return shipped


def _held(target: Forgetful, name: str = "a1-temp") -> list[int]:
    target.write()
    return [(at - NOON) // 1000 for at in target.read(probe(name), 0, EVER).at_ms]


def _keep(store: Store, *seconds: int, name: str = "a1-temp") -> None:
    store.keep(Kept(readings=[said(20 + s / 16, s=s, probe=name) for s in seconds]))


def test_history_is_shipped_on_the_first_connection_packed_and_hot_alike(
    store: Store, target: Forgetful, made: Made
) -> None:
    _keep(store, *range(50))
    store.pack_some(EVER)
    _keep(store, *range(50, 60))
    _keep(store, 7, name="a1-ph")
    mirror = made(batch=20)
    assert mirror.behind() == 61
    assert _caught_up(mirror) == 61
    assert mirror.behind() == 0
    assert _held(target) == list(range(60))
    assert _held(target, "a1-ph") == [7]


def test_only_what_is_new_is_shipped_then_also_after_a_restart_of_the_daemon(
    store: Store, target: Forgetful, made: Made
) -> None:
    _keep(store, 0, 1)
    first = made(margin_s=0)
    assert _caught_up(first) == 2
    first.step()  # sure now, and saved
    _keep(store, 2)
    assert _caught_up(first) == 1
    _keep(store, 3)
    first.step()
    first.step()
    assert _caught_up(made()) == 0
    assert _held(target) == [0, 1, 2, 3]


def test_what_is_not_sure_yet_is_sent_again_after_a_restart_of_the_daemon(
    store: Store, target: Forgetful, made: Made
) -> None:
    _keep(store, 0, 1)
    assert _caught_up(made(margin_s=1000)) == 2
    assert _caught_up(made(margin_s=1000)) == 2
    assert _held(target) == [0, 1]


def test_a_target_that_is_down_is_sent_everything_since_what_was_sure(
    store: Store, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=1000)
    _keep(store, 0)
    mirror.step()
    target.down = True
    _keep(store, 1)
    with pytest.raises(TargetDownError):
        mirror.step()
    target.die_and_start_again()
    target.down = False
    assert _caught_up(mirror) == 2
    assert _held(target) == [0, 1]


def test_a_target_that_died_between_two_batches_is_noticed_by_its_new_connection(
    store: Store, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=1000)
    _keep(store, 0)
    mirror.step()
    target.die_and_start_again()
    _keep(store, 1)
    mirror.step()
    _caught_up(mirror)
    assert _held(target) == [0, 1]


def test_a_target_that_died_in_a_quiet_hour_is_noticed_before_the_position_moves(
    store: Store, records: Records, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=0)
    _keep(store, 0)
    mirror.step()
    target.die_and_start_again()
    assert "probe:a1-temp" not in Manifest(records).mirrored()
    _caught_up(mirror)
    mirror.step()
    assert Manifest(records).mirrored()["probe:a1-temp"] == NOON
    assert _held(target) == [0]


def test_a_target_that_is_down_in_a_quiet_hour_moves_no_position(
    store: Store, records: Records, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=0)
    _keep(store, 0)
    mirror.step()
    target.down = True
    with pytest.raises(TargetDownError):
        mirror.step()
    assert "probe:a1-temp" not in Manifest(records).mirrored()


def test_a_target_that_closes_every_connection_is_still_caught_up_with(
    store: Store, target: Forgetful, made: Made
) -> None:
    class Restless(Forgetful):
        def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
            self.connections += 1
            super().take(readings, events)

    restless = Restless()
    mirror = Mirror(made()._records, restless, PROBES, store.mirrored, margin_s=1000, batch=10)
    _keep(store, *range(100))
    _caught_up(mirror)
    assert _held(restless) == list(range(100))
    assert restless.takes < 30


def test_readings_that_come_late_are_shipped_too_once_packed_and_once_not(
    store: Store, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=0)
    _keep(store, *range(0, 50, 5))
    _caught_up(mirror)
    _keep(store, 7)
    store.pack_some(EVER)
    _keep(store, 3, 8)
    _caught_up(mirror)
    assert _held(target) == sorted([*range(0, 50, 5), 3, 7, 8])


def test_a_repeat_is_not_taken_for_a_late_reading(
    store: Store, target: Forgetful, made: Made, records: Records
) -> None:
    _caught_up(made())
    _keep(store, 0, 5)
    _keep(store, 0, 5)
    assert records.counts()["late"] == 0
    _keep(store, 0, 3, 5)
    assert records.counts()["late"] == 1


def test_a_mirror_that_was_given_up_starts_anew_and_notes_nothing_meanwhile(
    store: Store, target: Forgetful, made: Made, records: Records
) -> None:
    _keep(store, 0, 5)
    _caught_up(made())
    store.stop_mirroring()
    _keep(store, 3)
    assert (records.counts()["late"], Manifest(records).mirrored()) == (0, {})
    assert _caught_up(made()) == 3


def test_a_long_late_span_is_shipped_in_batches_and_forgotten_when_sure(
    store: Store, target: Forgetful, made: Made, records: Records
) -> None:
    mirror = made(batch=10, margin_s=0)
    _keep(store, 1000)
    _caught_up(mirror)
    _keep(store, *range(100))
    takes = target.takes
    _caught_up(mirror)
    assert target.takes - takes >= 10
    assert _held(target) == [*range(100), 1000]
    mirror.step()
    assert records.counts()["late"] == 0


def test_a_flag_put_right_is_put_right_there_too(
    store: Store, target: Forgetful, made: Made
) -> None:
    mirror = made()
    _keep(store, 0, 1)
    _caught_up(mirror)
    store.keep(Kept(revised=[said(0.0, s=0, flag=Flag.BAD)]))
    _caught_up(mirror)
    target.write()
    assert list(target.read(PROBES[0], 0, EVER).flag) == [Flag.BAD, Flag.GOOD]


def test_a_damaged_day_is_waited_for_while_the_others_are_shipped(
    store: Store, target: Forgetful, made: Made
) -> None:
    _keep(store, 0, 1)
    _keep(store, 0, 1, name="a1-ph")
    store.pack_some(EVER, budget=2)
    _keep(store, 2)
    spoil = "UPDATE packed SET body = x'00' WHERE slot = (SELECT min(slot) FROM packed)"
    store._db.execute(spoil)
    mirror = made()
    _caught_up(mirror)
    assert _held(target) == []
    assert _held(target, "a1-ph") == [0, 1]
    assert len(store.check_some()) == 1
    _keep(store, 0, 1)  # brought in again from a backup
    _caught_up(mirror)
    assert _held(target) == [0, 1, 2]


def test_alarms_and_deeds_are_shipped_once_each_as_events(
    store: Store, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=0)
    change = AlarmChange(at_ms=NOON, alarm=alarm(3), before=State.NORMAL)
    stage = JournalEntry(at_ms=NOON, tank="A1", deed=Deed.STAGE, detail="spawning")
    store.keep(Kept(changes=[change], journal=[stage]))
    _caught_up(mirror)
    _caught_up(mirror)
    target.write()
    assert [(e.measurement, e.tags["tank"], e.text) for e in target.events] == [
        ("alarm", "A1", ""),
        ("journal", "A1", "spawning"),
    ]
    assert target.events[0].tags["state"] == "unacknowledged"


def test_what_was_recorded_of_broods_is_shipped_once_each(
    store: Store, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=0)
    eggs = BroodRecord(
        id="r1", brood="2026-14", at_ms=NOON, made_ms=NOON, act=BroodAct.COUNTED,
        counted=Counted.EGGS, count=count_of("about 60"), detail="on the leaf",
    )  # fmt: skip
    undone = BroodRecord(
        id="r2", brood="2026-14", at_ms=NOON, made_ms=NOON, act=BroodAct.WITHDRAWN, replaces="r1"
    )
    store.keep(Kept(broods=[eggs]))
    _caught_up(mirror)
    store.keep(Kept(broods=[eggs, undone]))
    _caught_up(mirror)
    target.write()
    assert [(e.tags["act"], e.tags["counted"], e.text) for e in target.events] == [
        ("counted", "eggs", "about 60, on the leaf"),
        ("withdrawn", "", "instead of record r1"),
    ]


def test_a_lost_day_is_found_by_its_count_and_shipped_again(
    store: Store, records: Records, target: Forgetful, made: Made
) -> None:
    mirror = made(margin_s=0)
    _keep(store, *range(5))
    _keep(store, *range(3), name="a1-ph")
    _caught_up(mirror)
    target.write()
    assert compare(records, target, PROBES, [DAY - 1, DAY, DAY + 1]) == []
    del target._readings["a1-ph"]
    missing = compare(records, target, PROBES, [DAY])
    assert missing == [Difference("a1-ph", DAY, here=3, there=0)]
    mirror.send_again(missing)
    _caught_up(mirror)
    target.write()
    assert compare(records, target, PROBES, [DAY]) == []


def test_the_thread_tells_once_that_the_target_is_down_and_ships_when_it_is_back(
    store: Store, records: Records, caplog: pytest.LogCaptureFixture
) -> None:
    class Flaky(Pigeonhole):
        def __init__(self) -> None:
            super().__init__()
            self.tries = 0
            self.done = threading.Event()

        def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
            self.tries += 1
            if self.tries < 3:
                raise TargetDownError("target: refused")
            super().take(readings, events)
            self.done.set()

    _keep(store, 0)
    store.mirrored({"late": 0})
    flaky, stop = Flaky(), threading.Event()
    saved: list[Mapping[str, int]] = []
    mirror = Mirror(records, flaky, PROBES, saved.append, margin_s=0)
    caplog.set_level(logging.INFO)
    thread = threading.Thread(target=mirror.run, args=(stop,), kwargs={"first_wait_s": 0.01})
    thread.start()
    assert flaky.done.wait(20)
    stop.set()
    thread.join(20)
    assert not thread.is_alive()
    assert list(flaky.read(PROBES[0], 0, EVER).at_ms) == [NOON]
    events = [record.message.split()[0] for record in caplog.records]
    assert events[:2] == ["mirror_down", "mirror_up_again"]


def test_lines_say_what_the_protocol_says_with_every_sign_escaped() -> None:
    odd = probe("left, one = 1")
    (line,) = reading_lines("the room", odd, cells_of([(NOON, 240_625, 3)]))
    assert line == (
        r"reading,room=the\ room,tank=A1,probe=left\,\ one\ \=\ 1,quantity=temperature"
        f" raw=24.0625,value=24.0625,flag=3i {NOON}"
    )
    event = Event(NOON, "journal", {"tank": "A1", "deed": ""}, 4, 'a "third"\nout \\ in')
    assert event_line("r", event) == (
        rf'journal,room=r,tank=A1 number=4i,text="a \"third\" out \\ in" {NOON}'
    )


_WORK = st.lists(
    st.one_of(
        st.lists(st.integers(0, 60), min_size=1, max_size=6).map(lambda s: ("keep", s)),
        st.sampled_from(["step", "step", "pack", "write", "die", "down", "up", "restart"]).map(
            lambda what: (what, [])
        ),
    ),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(_WORK)
def test_whatever_fails_in_between_the_mirror_ends_up_equal(
    work: list[tuple[str, list[int]]],
) -> None:
    now_s = [0.0]
    with (
        TemporaryDirectory() as folder,
        patch("roewatch.storage.mirror.monotonic", lambda: now_s[0]),
    ):
        path = Path(folder) / "room.db"
        store, records, target = Store.open(path), Records(path), Forgetful()

        def started() -> Mirror:
            return Mirror(records, target, PROBES, store.mirrored, margin_s=1000, batch=4)

        mirror = started()
        for what, seconds in work:
            if what == "keep":
                store.keep(Kept(readings=[said(s / 16, s=s) for s in seconds]))
            elif what == "pack":
                store.pack_some(EVER)
            elif what == "write":
                target.write()
                now_s[0] += 2000  # the margin is over, and what it was sent is on disk
            elif what == "die":
                target.die_and_start_again()
            elif what == "restart":
                mirror = started()
            elif what == "step":
                with suppress(TargetDownError):
                    mirror.step()
            else:
                target.down = what == "down"
        target.down = False
        for s in (61, 62):  # the next readings are what a silent death is noticed by
            _caught_up(mirror)
            store.keep(Kept(readings=[said(1.0, s=s)]))
        _caught_up(mirror)
        target.write()
        assert compare(records, target, PROBES, [DAY]) == []
        records.close()
        store.close()
