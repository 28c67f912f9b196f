"""A room left alone for two months: `python -m tests.bench.soak`; half an hour of two cores.

    python -m tests.bench.soak --days 60 --tanks 100 --seed 1 --folder /var/tmp

Event time is data, so it goes as fast as it can: a simulated room with labelled faults (in a
process of its own) publishes SenML packs, one a rack and step, to a real Mosquitto; listener,
judge, book, teller, store, upkeep and mirror are the daemon's own, its clock moved by hand.
Meanwhile the broker is restarted every day and away for an hour now and then, the mirror
(VictoriaMetrics) is killed and comes back, the clock is set wrong and right again, now and then
to 1970, the log is rotated, the settings are read anew, and the daemon is started again every ten
days. A keeper acknowledges what calls.

Prints memory and its slope, growth of file and log, faults missed and alarms for nothing, and
what was raised unhandled. Ends with 1 if anything was, or if a reading is missing from the store
or from the mirror.
"""

import argparse
import logging
import logging.handlers
import multiprocessing
import shutil
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from random import Random
from typing import NamedTuple

import requests

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon"), str(ROOT / "simulators")]

from tests.bench import ending  # noqa: E402
from tests.bench.detection.score import DIGEST, LOW, RIGHT  # noqa: E402
from tests.bench.fuzz.__main__ import resident_mb  # noqa: E402
from tests.bench.month_of_alarms import Keeper  # noqa: E402
from tests.bench.soak_room import (  # noqa: E402
    Drawn,
    Label,
    Step,
    labels_of,
    packs,
    room_text,
    wrong_clocks,
)
from tests.contracts.victoria import VictoriaServer  # noqa: E402
from tests.journeys.broker import Broker, Publisher  # noqa: E402
from tests.service.by_hand import HandClock, Phone  # noqa: E402

from roewatch.alarms.alarm import AlarmChange, State  # noqa: E402
from roewatch.alarms.book import AlarmBook  # noqa: E402
from roewatch.intake.listener import Listener, Message  # noqa: E402
from roewatch.outbox.sender import Sender  # noqa: E402
from roewatch.room.kind import Kind, Priority  # noqa: E402
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS  # noqa: E402
from roewatch.room.tank import ROOM as WHOLE_ROOM  # noqa: E402
from roewatch.service import fold as folding  # noqa: E402
from roewatch.service.at_hand import topics_of  # noqa: E402
from roewatch.service.founding import fold_of  # noqa: E402
from roewatch.service.mirroring import Mirroring  # noqa: E402
from roewatch.service.reload import Reload  # noqa: E402
from roewatch.service.settings.load import Setup, load_setup  # noqa: E402
from roewatch.service.upkeep import Upkeep, hands_of  # noqa: E402
from roewatch.service.watch import Watch  # noqa: E402
from roewatch.storage.reader import Records  # noqa: E402
from roewatch.storage.store import Store  # noqa: E402
from roewatch_sim.fault import FaultKind  # noqa: E402

log = logging.getLogger("soak")

folding.SAVE_STATES_EVERY_MS = 30 * MINUTE_MS
"""By a clock that runs a thousand times too fast, once a minute would be two thirds of the work."""

GRACE_MS, AFTER_MS = 2 * HOUR_MS, 20 * HOUR_MS
BOUND_S = 60.0


class Brisk(Listener):
    """The listener, asked by somebody who knows that what he waits for has been published."""

    def group(self, *, first_wait_s: float = 0.0, **_: object) -> list[Message]:
        return super().group(wait_s=0.0, first_wait_s=min(first_wait_s, 0.004))


class Log(logging.handlers.WatchedFileHandler):
    """The daemon's log in a file that is rotated under it; counts what should never be in it."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.setFormatter(logging.Formatter("%(levelname)-7s %(message)s"))
        self.lines: Counter[str] = Counter()
        self.unhandled: list[str] = []
        self.bytes = 0

    def emit(self, record: logging.LogRecord) -> None:
        super().emit(record)
        text = record.getMessage()
        self.lines[f"{record.levelname} {text.split(' ', 1)[0]}"] += 1
        self.bytes += len(text) + 9
        # the mirror being away is logged with its traceback once; that is not a fault of ours
        if record.exc_info and not text.startswith("mirror_broken"):
            self.unhandled.append(self.format(record))

    def rotate(self) -> None:
        path = Path(self.baseFilename)
        path.rename(path.with_suffix(".1"))


Raised = tuple[int, str, Kind, Priority]


@dataclass
class Tally:
    """What happened. raised: the first telling of each episode."""

    raised: list[Raised] = field(default_factory=list)
    notices: Counter[str] = field(default_factory=Counter)
    deeds: Counter[str] = field(default_factory=Counter)
    memory: list[tuple[float, float]] = field(default_factory=list)
    file_mb: list[tuple[float, float]] = field(default_factory=list)
    away: list[tuple[int, int]] = field(default_factory=list)


class Parts(NamedTuple):
    """One life of the daemon."""

    watch: Watch
    store: Store
    ear: Brisk
    mirroring: Mirroring
    reload: Reload


class Daemon:
    """The daemon's parts around a clock moved by hand; may be stopped and started again."""

    def __init__(self, room: Path, clock: HandClock, tally: Tally) -> None:
        self.room, self.clock, self.tally = room, clock, tally
        self.phone, self.keeper = Phone(), Keeper()
        self.kept_before = self.messages_before = 0
        self.parts = self._started()

    def _started(self) -> Parts:
        setup = load_setup(self.room, {})
        store = Store.open(setup.storage.path)
        ear = self._ear(setup)
        watch = Watch(
            room_id=setup.room.id,
            bindings=setup.bindings,
            fold=fold_of(setup, store),
            store=store,
            listener=ear,
            clock=self.clock,
            heard=self._heard,
            monotonic=self.clock.monotonic,
        )
        watch.start()
        hands = replace(
            hands_of(setup.storage.path, watch.own, self.clock.now_ms),
            monotonic=self.clock.monotonic,
        )
        watch.upkeep = Upkeep(store, setup.storage, lambda: watch.room.probes, hands)
        watch.sender = Sender(
            {way.name: self.phone for way in setup.ways},
            self.clock.now_ms,
            on_receipt=watch.on_receipt,
            wanted=watch.wanted,
        )
        ear.start()
        mirroring = Mirroring(setup, watch.mirrored, again_s=2.0)
        mirroring.start()
        reload = Reload(setup, watch, store, self._ear, lambda: load_setup(self.room, {}))
        return Parts(watch, store, ear, mirroring, reload)

    def _ear(self, setup: Setup) -> Brisk:
        clock = self.clock
        return Brisk(setup.broker, topics_of(setup), clock.now_ms, monotonic=clock.monotonic)

    def _heard(self, change: AlarmChange) -> None:
        alarm = change.alarm
        if alarm.state is State.UNACKNOWLEDGED:
            self.tally.raised.append((change.at_ms, alarm.tank, alarm.kind, alarm.priority))

    def rounds_until(self, met: Callable[[], bool], what: str) -> None:
        until_s = time.monotonic() + BOUND_S
        while not met():
            self.parts.watch.round()
            if time.monotonic() > until_s:
                raise AssertionError(f"it never came about that {what}")

    def ask(self, errand: Callable[[], object]) -> None:
        """Do it as a page would, in another thread."""
        raised: list[BaseException] = []

        def work() -> None:
            try:
                errand()
            except Exception as error:  # noqa: BLE001  # told by the thread that waits
                raised.append(error)

        thread = threading.Thread(target=work)
        thread.start()
        self.rounds_until(lambda: not thread.is_alive(), "the errand is answered")
        if raised:
            raise raised[0]

    def answer(self) -> None:
        """The keeper has looked at the phone."""
        got, self.phone.got = self.phone.got, []
        self.tally.notices.update(str(notice.about) for notice in got)
        self.keeper.hear(got)
        if not self.parts.store.open_alarms():
            return

        def deed(book: AlarmBook, now_ms: int) -> list[AlarmChange]:
            changes = self.keeper.answer(book, now_ms)
            for alarm in book.open():
                if alarm.latched and alarm.state is State.ACKNOWLEDGED and not alarm.present:
                    changes += book.reset(alarm.number, "Keeper", now_ms)
            return changes

        self.ask(lambda: self.parts.watch.change_alarm(deed))

    @property
    def kept(self) -> int:
        return self.kept_before + self.parts.watch.counts.kept

    @property
    def messages(self) -> int:
        return self.messages_before + self.parts.watch.counts.messages

    def stop(self) -> None:
        parts = self.parts
        stopping = threading.Thread(target=parts.mirroring.stop, args=(20.0,))
        stopping.start()
        self.rounds_until(lambda: not stopping.is_alive(), "the mirror stops")
        assert parts.watch.sender is not None
        parts.watch.sender.stop(5.0)
        parts.watch.round()
        parts.ear.stop()
        self.kept_before, self.messages_before = self.kept, self.messages
        parts.store.close()

    def again(self) -> None:
        """Stopped, and started again."""
        self.stop()
        self.parts = self._started()


class Kept(NamedTuple):
    """Readings in the store, those of boards whose clock is always right, those in the mirror."""

    in_store: int
    timely: int
    mirrored: int


class Soak:
    """The whole of it, step by step."""

    def __init__(self, asked: argparse.Namespace, folder: Path) -> None:
        self.asked, self.folder = asked, folder
        self.tally = Tally()
        self.began_s = time.monotonic()
        self.random = Random(f"{asked.seed}/soak")
        self.broker = Broker(folder / "broker")
        self.victoria = VictoriaServer(folder / "victoria")
        self.broker.start()
        self.victoria.start()
        drawn = drawn_of(asked)
        self.step_ms = drawn.step_ms
        sim = drawn.room()
        self.start_ms, self.wrong_clocks = sim.clock_ms, wrong_clocks(sim)
        self.room = folder / "room.toml"
        self.text = room_text(drawn, self.broker, self.victoria.url)
        self.room.write_text(self.text)
        self.clock = HandClock(self.start_ms)
        self.skew_ms = 0
        self.daemon = Daemon(self.room, self.clock, self.tally)
        self.publisher = Publisher(self.broker, "racks")
        self.backlog: list[tuple[str, bytes]] = []
        self.published = self.readings = 0
        self.mirror_is_up = True
        self.down_until_ms = 0
        self.due: dict[int, list[Callable[[], None]]] = defaultdict(list)
        self._plan()

    def _plan(self) -> None:
        """What goes wrong outside the tanks, by step number."""
        a_day = DAY_MS // self.step_ms
        pick = self.random.randrange
        for day in range(self.asked.days):
            first = day * a_day
            self.due[first + pick(a_day)].append(self._restart_broker)
            self.due[first].append(self._look)
            if day % 3 == 1:
                self.due[first + pick(a_day)].append(self._reload)
            if day % 2 == 1:
                self.due[first + pick(a_day)].append(self._rotate)
            if day % 5 == 2:
                self.due[first + pick(a_day // 2)].append(self._broker_away)
            if day % 6 == 3:
                begin = first + pick(a_day // 2)
                self.due[begin].append(self._mirror_gone)
                self.due[begin + a_day // 4].append(self._mirror_back)
            if day % 7 == 4:
                begin, by_ms = first + pick(a_day // 2), pick(-5, 6) * HOUR_MS
                self.due[begin].append(partial(self._set_clock, by_ms))
                self.due[begin + a_day // 48].append(partial(self._set_clock, 0))
            if day % 20 == 8:
                begin = first + pick(a_day // 2)
                self.due[begin].append(lambda: self._set_clock(-self._true_ms()))
                self.due[begin + a_day // 24].append(partial(self._set_clock, 0))
            if day % 10 == 9:
                self.due[first + pick(a_day)].append(self._again)

    def step(self, number: int, step: Step) -> None:
        daemon = self.daemon
        self.clock.pass_by(self.step_ms)
        for deed in self.due.pop(number, ()):
            deed()
        if self.down_until_ms and self._true_ms() >= self.down_until_ms:
            self._broker_back()
        for entry in step.journal:
            daemon.ask(partial(daemon.parts.watch.enter, entry))
        self.readings += step.readings
        self.backlog += step.packs
        watch = daemon.parts.watch
        watch.tick()
        watch.deliver()
        if not self.down_until_ms:
            self.publisher.publish_all(self.backlog)
            self.published += len(self.backlog)
            self.backlog = []
        daemon.rounds_until(
            lambda: daemon.messages >= self.published or watch.waits_for_clock, "all was heard"
        )
        watch.round()
        if number % 3 == 0:
            daemon.answer()

    def _true_ms(self) -> int:
        return self.clock.now_ms() - self.skew_ms

    # -- what goes wrong --------------------------------------------------------------------

    def _restart_broker(self) -> None:
        if self.down_until_ms:
            return
        self.tally.deeds["broker restarts"] += 1
        self._down()
        self._broker_back()

    def _broker_away(self) -> None:
        self.tally.deeds["broker away for an hour"] += 1
        self._down()
        self.down_until_ms = self._true_ms() + HOUR_MS
        self.tally.away.append((self._true_ms(), self.down_until_ms))

    def _down(self) -> None:
        self.publisher.close()
        self.broker.stop()

    def _broker_back(self) -> None:
        self.down_until_ms = 0
        self.broker.start()
        self.publisher = Publisher(self.broker, "racks")
        ear = self.daemon.parts.ear
        self.daemon.rounds_until(lambda: ear.hearing, "the daemon listens again")

    def _mirror_gone(self) -> None:
        self.mirror_is_up = False
        self.victoria.kill()

    def _mirror_back(self) -> None:
        self.tally.deeds["mirror killed and back after 6 h"] += 1
        self.victoria.start()
        self.mirror_is_up = True

    def _set_clock(self, skew_ms: int) -> None:
        self.tally.deeds["clock set"] += 1
        self.tally.away.append((self._true_ms(), self._true_ms() + HOUR_MS))
        self.clock.set_by(skew_ms - self.skew_ms)
        self.skew_ms = skew_ms

    def _rotate(self) -> None:
        self.tally.deeds["log rotated"] += 1
        LOG.rotate()

    def _reload(self) -> None:
        self.tally.deeds["settings read anew"] += 1
        at = "07:30" if self.tally.deeds["settings read anew"] % 2 else "08:00"
        self.room.write_text(self.text.replace('well_at = "08:00"', f'well_at = "{at}"'))
        taken: list[bool] = []
        self.daemon.ask(lambda: taken.append(self.daemon.parts.reload()))
        assert taken == [True]

    def _again(self) -> None:
        if self.down_until_ms or self.skew_ms:
            return
        self.tally.deeds["daemon started again"] += 1
        self.daemon.again()
        ear = self.daemon.parts.ear
        self.daemon.rounds_until(lambda: ear.hearing, "the daemon listens again")

    def _look(self) -> None:
        day = (self._true_ms() - self.start_ms) / DAY_MS
        self.tally.memory.append((day, resident_mb()))
        size = (self.folder / "soak.sqlite").stat().st_size
        self.tally.file_mb.append((day, size / 1e6))
        if round(day) % 5 == 0:
            print(
                f"day {day:3.0f}  {self.tally.memory[-1][1]:6.1f} MB resident  "
                f"{size / 1e6:6.1f} MB file  {self.readings:,} readings  "
                f"{time.monotonic() - self.began_s:.0f} s, "
                f"{time.process_time():.0f} s of processor",
                flush=True,
            )

    # -- the end ----------------------------------------------------------------------------

    def settle(self) -> "Kept":
        """How many readings are where, once the mirror has caught up."""
        if self.down_until_ms:
            self._broker_back()
            self.publisher.publish_all(self.backlog)
            self.published += len(self.backlog)
            self.backlog = []
        if not self.mirror_is_up:
            self._mirror_back()
        self._set_clock(0)
        daemon = self.daemon
        daemon.rounds_until(lambda: daemon.messages >= self.published, "all was heard")
        records = Records(self.folder / "soak.sqlite")
        try:
            by_tank: Counter[str] = Counter()
            for probe in daemon.parts.watch.room.probes:
                by_tank[probe.tank] += len(records.series(probe, 0, 2**43).at_ms)
        finally:
            records.close()
        in_store = by_tank.total()
        until_s, there = time.monotonic() + 120, -1
        while time.monotonic() < until_s and there < in_store:
            daemon.parts.watch.round()
            self.victoria.flush()
            there = mirrored(self.victoria.url, daemon.clock.now_ms())
        timely = sum(n for tank, n in by_tank.items() if tank not in self.wrong_clocks)
        return Kept(in_store, timely, there)

    def close(self) -> None:
        self.daemon.stop()
        self.publisher.close()
        self.broker.stop()
        self.victoria.kill()


def mirrored(url: str, now_ms: int) -> int:
    """How many readings the mirror holds, by its own count."""
    asked = {
        "query": "sum(count_over_time(reading_raw[100d]))",
        "time": str(now_ms / 1000 + 3600),
        "nocache": "1",
    }
    found = requests.get(f"{url}/api/v1/query", params=asked, timeout=60).json()["data"]["result"]
    return int(float(found[0]["value"][1])) if found else 0


def slope(points: Sequence[tuple[float, float]]) -> float:
    """Least squares, per unit of x."""
    n = len(points)
    if n < 2:
        return 0.0
    mean_x, mean_y = sum(x for x, _ in points) / n, sum(y for _, y in points) / n
    return sum((x - mean_x) * (y - mean_y) for x, y in points) / sum(
        (x - mean_x) ** 2 for x, _ in points
    )


def report(soak: Soak, labels: Sequence[Label], kept: Kept) -> int:
    in_store, there = kept.in_store, kept.mirrored
    tally, days = soak.tally, soak.asked.days
    settled = [(x, y) for x, y in tally.memory if x >= days / 6]
    print(f"\n{days:.1f} days of {soak.asked.tanks} tanks, seed {soak.asked.seed}")
    print(
        f"readings   {soak.readings:,} sent by boards whose clock is always right, "
        f"{kept.timely:,} of them in the store; {in_store:,} of all, {there:,} in the mirror"
    )
    print("deeds      " + ", ".join(f"{n} × {what}" for what, n in tally.deeds.items()))
    print(
        f"memory     {tally.memory[0][1]:.1f} MB on day 0, {tally.memory[-1][1]:.1f} MB at the "
        f"end, {max(y for _, y in tally.memory):.1f} MB at most; "
        f"{slope(settled):+.3f} MB a day from day {days / 6:.0f} on"
    )
    print(
        f"file       {tally.file_mb[-1][1]:.1f} MB, {slope(tally.file_mb):+.2f} MB a day, "
        f"{1e6 * tally.file_mb[-1][1] / max(1, in_store):.2f} B a reading"
    )
    print(f"log        {sum(LOG.lines.values())} lines, {LOG.bytes / days / 1000:.1f} kB a day")
    print("           " + ", ".join(f"{n} {what}" for what, n in LOG.lines.most_common(8)))
    print("notices    " + ", ".join(f"{n} {about}" for about, n in tally.notices.most_common()))
    verdict = judged(tally, labels)
    found, missed, false, own = verdict.found, verdict.missed, verdict.false, verdict.own
    print(
        f"faults     {len(labels)} played, {len(found)} found, {len(verdict.right)} by the right "
        f"kind, {len(missed)} missed, {len(verdict.too_short)} too short to be told"
    )
    for label in missed:
        print(
            f"           missed: {label.kind} of {','.join(label.tanks) or 'the room'}, "
            f"{days_from(soak, label.at_ms)} to {days_from(soak, label.until_ms)}"
        )
    tank_months = soak.asked.tanks * days / 30
    print(
        f"false      {len(false)} alarms for nothing, "
        f"{len(false) / tank_months:.3f} a tank and 30 days"
    )
    for at_ms, tank, kind, _ in false:
        print(
            f"           {kind} of {tank}, {days_from(soak, at_ms)}"
            f"{' (in the daily message)' if kind in LOW else ''}"
        )
    print(f"of itself  {dict(Counter(str(kind) for _, _, kind, _ in own).most_common())}")
    print(f"unhandled  {len(LOG.unhandled)}")
    for text in LOG.unhandled[:5]:
        print(text)
    lost = soak.readings - kept.timely
    wrong = [
        words
        for words, holds in (
            (f"{len(LOG.unhandled)} unhandled", LOG.unhandled),
            (f"{lost} readings are not in the store", lost),
            (f"{in_store - there} readings are not in the mirror", there < in_store),
        )
        if holds
    ]
    print(f"verdict    {'; '.join(wrong) or 'nothing unhandled, nothing lost'}")
    return 1 if wrong else 0


def days_from(soak: Soak, at_ms: int) -> str:
    """A moment as days of the run."""
    return f"day {(at_ms - soak.start_ms) / DAY_MS:.2f}"


class Judged(NamedTuple):
    """Faults found and missed; alarms for nothing, and those of what was done from outside.

    right: those found by their own kind. too_short: neither found nor there long enough to be.
    """

    found: list[Label]
    right: list[Label]
    missed: list[Label]
    too_short: list[Label]
    false: list[Raised]
    own: list[Raised]


def judged(tally: Tally, labels: Sequence[Label]) -> Judged:
    """Every fault and every alarm, each in its place."""
    result = Judged([], [], [], [], [], [])
    for label in labels:
        hits = {
            kind
            for at_ms, tank, kind, _ in tally.raised
            if kind not in DIGEST
            and label.at_ms <= at_ms <= label.until_ms + GRACE_MS
            and label.concerns(tank)
        }
        if hits:
            result.found.append(label)
        else:
            (result.too_short if label.too_short else result.missed).append(label)
        if hits & RIGHT[FaultKind(label.kind)]:
            result.right.append(label)
    for raised in tally.raised:
        at_ms, tank, kind, priority = raised
        if kind in DIGEST or priority is Priority.JOURNAL:
            continue
        if any(
            label.at_ms <= at_ms <= label.until_ms + AFTER_MS and label.concerns(tank)
            for label in labels
        ):
            continue
        outside = any(a <= at_ms <= b + GRACE_MS for a, b in tally.away)
        (result.own if tank == WHOLE_ROOM or outside else result.false).append(raised)
    return result


@dataclass
class _Catch:
    """What threads raised that nobody caught."""

    def __call__(self, args: threading.ExceptHookArgs) -> None:
        LOG.unhandled.append(f"in thread {args.thread}: {args.exc_value!r}")


LOG: Log


def drawn_of(asked: argparse.Namespace) -> Drawn:
    """The room that was asked for."""
    return Drawn(asked.seed, asked.tanks, asked.days, asked.every * SECOND_MS)


def steps(asked: argparse.Namespace) -> Iterator[Step | list[Label]]:
    """The room's steps from its own process, then its labels."""
    # spawned, not forked: a fork would hold the store's lock after the daemon has let go of it
    anew = multiprocessing.get_context("spawn")
    queue: multiprocessing.Queue[Step | list[Label]] = anew.Queue(maxsize=500)
    room = anew.Process(target=packs, args=(queue, drawn_of(asked)), daemon=True)
    room.start()
    try:
        while True:
            yield queue.get(timeout=300)
    finally:
        room.terminate()


def main() -> int:
    global LOG  # noqa: PLW0603  # one run, one log
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--tanks", type=int, default=100)
    parser.add_argument("--every", type=int, default=120, help="seconds between two readings")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e9, help="end early after so many")
    parser.add_argument("--folder", type=Path, help="where to work; a temporary one by default")
    asked = parser.parse_args()
    ending.in_order()
    folder = Path(tempfile.mkdtemp(prefix="soak-", dir=asked.folder))
    LOG = Log(folder / "daemon.log")
    logging.getLogger().addHandler(LOG)
    logging.getLogger().setLevel(logging.INFO)
    threading.excepthook = _Catch()
    began, drawn = time.monotonic(), drawn_of(asked)
    soak = Soak(asked, folder)
    labels: list[Label] = []
    try:
        soak.daemon.rounds_until(lambda: soak.daemon.parts.ear.hearing, "the daemon listens")
        for number, one in enumerate(steps(asked)):
            if isinstance(one, list):
                labels = one
                break
            soak.step(number, one)
            if time.monotonic() - began > 60 * asked.minutes:
                asked.days = (number + 1) * drawn.step_ms / DAY_MS
                labels = labels_of(drawn.room(), drawn, asked.days)
                print(f"ended early, after {asked.days:.1f} days of {drawn.days}")
                break
        kept = soak.settle()
    finally:
        soak.close()
    code = report(soak, labels, kept)
    print(f"took       {time.monotonic() - began:.0f} s, {time.process_time():.0f} s of processor")
    shutil.rmtree(folder)
    return code


if __name__ == "__main__":
    sys.exit(main())
