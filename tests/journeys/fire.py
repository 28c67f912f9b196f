"""Under fire: daemon, mirror and broker are struck in turn while readings flow; then a count.

The stream is confirmed by the broker message by message, so what was published is known exactly.
The mirror's saved position trails by a margin, which no daemon of a second's life outlives; quiet
spells in between let it move, so that kills meet a mirror in the middle of its way too.
"""

import json
import math
import os
import random
import statistics
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from tests.contracts.victoria import VictoriaServer
from tests.journeys.broker import Broker, free_port
from tests.journeys.house import ROOT, House, now_ms, wait_until

from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Probe
from roewatch.service.settings.load import load_setup
from roewatch.storage.influx import Victoria
from roewatch.storage.manifest import Manifest
from roewatch.storage.mirror import compare
from roewatch.storage.reader import Records
from roewatch.storage.trouble import StoreError

EVERY_MS = 5_000
PACK = 50  # readings in one SenML pack
TANKS = tuple(f"{rack}{place}" for rack in "AB" for place in range(1, 6))
BATCH_S = 0.05  # the daemon gathers so long before it keeps: a kill may fall anywhere in it
PATIENCE_S = 90.0  # no step of this takes a tenth of it on an idle machine
_AWAY_MESSAGES = 100  # packs that may be under way to the broker at once

_ROOM = """
[room]
name = "The Boathouse"
id = "fire"
timezone = "Europe/Tallinn"

[broker]
host = "{broker.host}"
port = {broker.port}
client_id = "fire"
username = "{broker.user}"
password = "{broker.password}"

[storage]
path = "{store}"
hot = "10 min"
least_free_mb = 10

[mirror]
enabled = true
url = "{url}"
every = "1 s"
overlap = "{margin_s:g} s"

[web]
port = {web}
"""
_TANK = """
[[tank]]
id = "{tank}"
litres = 54
heater_watts = 50
species = "boraras-brigittae"
stage = "holding"

[[probe]]
tank = "{tank}"
quantity = "temperature"
topic = "fire/{tank}"
format = "senml"
name = "temperature"
unit = "Cel"
every = "5 s"
"""


class Struck(StrEnum):
    """What a blow hits: killed with SIGKILL, but the broker, which is restarted cleanly."""

    DAEMON = "daemon"
    MIRROR = "mirror"
    BROKER = "broker"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How much flows, and what falls. quiet: spells in which nothing is struck for a while."""

    readings: int
    kills: dict[Struck, int]
    quiet: int
    seed: int = 11
    margin_s: float = 20.0

    @property
    def packs(self) -> int:
        """Whole packs, as many for each probe."""
        each = math.ceil(self.readings / PACK / len(TANKS))
        return each * len(TANKS)

    def blows(self) -> list[Struck | None]:
        """What is struck, in an order drawn by lot; None is a quiet spell."""
        blows: list[Struck | None] = [
            struck for struck, times in self.kills.items() for _ in range(times)
        ]
        random.Random(self.seed).shuffle(blows)
        for spell in range(self.quiet, 0, -1):
            blows.insert(len(blows) * spell // (self.quiet + 1), None)
        return blows


@dataclass(slots=True, kw_only=True)
class Toll:
    """What was counted in the end.

    lost, foreign: readings published and not kept, kept and not published; doubled: rows beyond
    one a moment; differing: the mirror's days with another count. lives_s: the daemon's, each.
    """

    published: int = 0
    stored: int = 0
    lost: int = 0
    foreign: int = 0
    doubled: int = 0
    contradicted: int = 0
    days: int = 0
    differing: int = 0
    packed_days: int = 0
    settled: int = 0
    took_s: float = 0.0
    catch_up_s: float = 0.0
    struck: dict[Struck, int] = field(default_factory=lambda: dict.fromkeys(Struck, 0))
    lives_s: list[float] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """Whether everything is there once, here and in the mirror."""
        wrong = self.lost + self.foreign + self.doubled + self.contradicted + self.differing
        return self.stored == self.published and not wrong

    def text(self) -> str:
        """All figures in one line."""
        struck = ", ".join(f"{struck} {times}" for struck, times in self.struck.items())
        return (
            f"{sum(self.struck.values()):,} kills ({struck}) in {self.took_s:.0f} s:"
            f" published {self.published:,}, stored {self.stored:,}, lost {self.lost},"
            f" foreign {self.foreign}, duplicates {self.doubled},"
            f" contradicted {self.contradicted}, {self.packed_days} days packed;"
            f" mirror: {self.days} daily counts, {self.differing} differ,"
            f" caught up {self.catch_up_s:.0f} s after the last kill,"
            f" its position moved in {self.settled} quiet spells;"
            f" a daemon lived {statistics.median(self.lives_s or [0.0]):.2f} s (median)"
        )


def celsius(tank: int, number: int) -> float:
    """The stream's reading `number` of a tank: a quiet swing, in sixteenths of a degree."""
    return round((26 + 0.4 * math.sin(number / 700 + tank)) * 16) / 16


class Stream(threading.Thread):
    """Publishes packs at QoS 1, as far as it is allowed to; survives its broker's restarts."""

    def __init__(self, broker: Broker, packs: int, begin_ms: int) -> None:
        super().__init__(name="stream", daemon=True)
        self._packs = packs
        self._begin_ms = begin_ms
        self._allowed = self._confirmed = 0
        self._more = threading.Condition()
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            "stream",
            clean_session=False,  # so that what was not confirmed is sent again
            protocol=MQTTProtocolVersion.MQTTv311,
        )
        self._client.username_pw_set(broker.user, broker.password)
        self._client.reconnect_delay_set(1, 1)
        self._client.max_inflight_messages_set(_AWAY_MESSAGES)
        self._client.on_publish = self._on_publish
        self._client.connect(broker.host, broker.port)
        self.trouble: BaseException | None = None

    def allow(self, packs: int) -> None:
        """Let so many packs out in all."""
        with self._more:
            self._allowed = min(packs, self._packs)
            self._more.notify()

    def moment(self, tank: int, number: int) -> int:
        """When that reading was true."""
        return self._begin_ms + number * EVERY_MS + tank

    def published(self, tank: int) -> Iterator[tuple[int, float]]:
        """Every reading of one tank, (at_ms, raw)."""
        for number in range(self._packs // len(TANKS) * PACK):
            yield self.moment(tank, number), celsius(tank, number)

    def run(self) -> None:
        """Publish until all is confirmed."""
        self._client.loop_start()
        try:
            for pack in range(self._packs):
                self._wait_until(
                    lambda pack=pack: (
                        self._allowed > pack and pack - self._confirmed < _AWAY_MESSAGES
                    )  # type: ignore[misc]
                )
                tank, nth = pack % len(TANKS), pack // len(TANKS)
                # while the broker is away the client holds it, and sends it when it is back
                self._client.publish(f"fire/{TANKS[tank]}", self._payload(tank, nth), 1)
            self._wait_until(lambda: self._confirmed == self._packs)
        except BaseException as error:
            self.trouble = error
            raise
        finally:
            self._client.disconnect()
            self._client.loop_stop()

    def _wait_until(self, met: Callable[[], bool]) -> None:
        with self._more:
            if not self._more.wait_for(met, PATIENCE_S * 4):
                raise TimeoutError(
                    f"the stream stands still; {self._confirmed} of {self._packs} packs confirmed"
                )

    def _on_publish(self, *_: object) -> None:
        with self._more:
            self._confirmed += 1
            self._more.notify()

    def _payload(self, tank: int, nth: int) -> bytes:
        records = [
            {"n": "temperature", "u": "Cel", "v": celsius(tank, n), "t": self.moment(tank, n) / 1e3}
            for n in range(nth * PACK, (nth + 1) * PACK)
        ]
        return json.dumps(records, separators=(",", ":")).encode()


class BurningHouse(House):
    """The room of this journey; its daemon is killed and started again without a pause."""

    def __init__(self, folder: Path, broker: Broker, url: str, margin_s: float) -> None:
        super().__init__(folder, broker, tanks=TANKS, ways=())
        text = _ROOM.format(
            broker=broker, store=self.store, url=url, margin_s=margin_s, web=free_port()
        )
        self.room.write_text(text + "".join(_TANK.format(tank=tank) for tank in TANKS))
        self.begun_s = 0.0

    def spawn(self) -> None:
        """Start the daemon and return at once."""
        self.begun_s = time.monotonic()
        with (self.folder / "daemon.log").open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "roewatch.service.cli", "watch", "--room", str(self.room)],
                stdout=log, stderr=log, env=_environment(),
            )  # fmt: skip


def _environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT / "daemon"), str(ROOT)])}


class Fire:
    """One run: what is struck, and what is waited for before."""

    def __init__(
        self, folder: Path, broker: Broker, plan: Plan, say: Callable[[str], None] = lambda _: None
    ) -> None:
        """say: told how it stands, every ten seconds or so."""
        self._plan, self._broker, self._say = plan, broker, say
        self._server = VictoriaServer(folder / "victoria")
        self._house = BurningHouse(folder / "house", broker, self._server.url, plan.margin_s)
        span_ms = plan.packs // len(TANKS) * PACK * EVERY_MS
        self._begin_ms = now_ms() - span_ms
        self._stream = Stream(broker, plan.packs, self._begin_ms)
        self._records = Records(self._house.store)
        self._chance = random.Random(plan.seed + 1)
        self._toll = Toll(published=plan.packs * PACK)

    def run(self) -> Toll:
        """Strike every blow of the plan, let all come to rest, and count."""
        begun_s = said_s = time.monotonic()
        try:
            self._server.start()
            self._house.spawn()
            wait_until(lambda: "broker_connected" in self._house.log, "the daemon is connected")
            self._stream.start()
            blows = self._plan.blows()
            for done, blow in enumerate(blows):
                self._stream.allow(self._plan.packs * (done + 1) // (len(blows) + 1))
                self._strike(blow)
                if time.monotonic() - said_s > 10:
                    said_s = time.monotonic()
                    self._say(f"{said_s - begun_s:5.0f} s: {done + 1} of {len(blows)}")
            self._rest()
            self._toll.took_s = time.monotonic() - begun_s
            self._count()
        finally:
            self._house.kill()
            self._server.kill()
            self._records.close()
        return self._toll

    def _strike(self, blow: Struck | None) -> None:
        if blow is None:
            self._be_quiet()
            return
        if blow is Struck.MIRROR:
            before = self._rows()
            self._until(lambda: self._rows() > before, "the mirror's target gets rows")
        else:
            before = self._progress()
            self._until(lambda: self._progress() > before, "something new is kept")
        self._stream.join(self._chance.uniform(0, BATCH_S))
        self._toll.struck[blow] += 1
        match blow:
            case Struck.DAEMON:
                self._house.kill()
                self._toll.lives_s.append(time.monotonic() - self._house.begun_s)
                self._house.spawn()
            case Struck.MIRROR:
                self._server.kill()
                self._server.start()
            case Struck.BROKER:
                self._broker.restart()

    def _be_quiet(self) -> None:
        before = self._sure()
        self._until(lambda: self._sure() > before, "the mirror is surer than before")
        self._toll.settled += 1

    def _until(self, met: Callable[[], bool], what: str) -> None:
        def watched() -> bool:
            if not self._house.running:
                raise RuntimeError(f"the daemon ended by itself: {self._house.log[-2000:]}")
            if self._stream.trouble is not None:
                raise RuntimeError("the stream ended") from self._stream.trouble
            return met()

        wait_until(watched, what, within_s=PATIENCE_S + self._plan.margin_s)

    def _progress(self) -> int:
        """Grows whenever a reading is kept that is newer than all before of its probe."""
        try:
            return sum(flagged.at_ms for flagged in self._records.latest().values())
        except StoreError:  # before the first daemon has made the file
            return 0

    def _sure(self) -> int:
        return sum(Manifest(self._records).mirrored().values())

    def _rows(self) -> int:
        """What the target has taken since it was started."""
        with urllib.request.urlopen(f"{self._server.url}/metrics", timeout=10) as answer:
            for line in answer.read().decode().splitlines():
                if line.startswith('vm_rows_inserted_total{type="influx"}'):
                    return int(float(line.split()[-1]))
        return 0

    @property
    def _days(self) -> range:
        return range(self._begin_ms // DAY_MS, now_ms() // DAY_MS + 1)

    def _rest(self) -> None:
        """Let out what is left; until everything is kept and shipped, as far as it ever is."""
        begun_s = time.monotonic()
        self._stream.allow(self._plan.packs)
        self._stream.join(PATIENCE_S * 2)
        wanted = self._toll.published
        patience_s = PATIENCE_S + wanted / 2_000
        if not _within(patience_s, lambda: self._records.counts()["readings"] >= wanted):
            self._say("not everything published was kept in time")
        target = self._target()

        def shipped() -> bool:
            return sum(sum(target.counts(day).values()) for day in self._days) >= wanted

        if not _within(patience_s, shipped):
            self._say("not everything kept was shipped in time")
        target.close()
        self._house.stop()
        self._toll.catch_up_s = time.monotonic() - begun_s

    def _target(self) -> Victoria:
        return Victoria(url=self._server.url, org="", bucket="", token="", room="fire")

    def _count(self) -> None:
        toll, counts = self._toll, self._records.counts()
        toll.stored, toll.packed_days = counts["readings"], counts["packed"]
        toll.contradicted = counts.get("contradicted", 0)
        probes = {probe.tank: probe for probe in load_setup(self._house.room, {}).room.probes}
        for tank, name in enumerate(TANKS):
            kept, repeats = self._kept(probes[name])
            # counted in both ways: rows as the tables have them, moments as a reader sees them
            sent = dict(self._stream.published(tank))
            toll.lost += sum(kept.get(at_ms) != raw for at_ms, raw in sent.items())
            toll.foreign += sum(at_ms not in sent for at_ms in kept)
            toll.doubled += repeats
        toll.doubled += max(0, toll.stored - toll.published - toll.foreign)
        self._server.flush()
        target = self._target()
        days = range(self._days.start - 1, self._days.stop + 1)
        toll.days = len(self._days) * len(probes)
        toll.differing = len(compare(self._records, target, list(probes.values()), days))
        target.close()

    def _kept(self, probe: Probe) -> tuple[dict[int, float], int]:
        """What is kept of a probe, by moment, and how many readings share one with another."""
        kept: dict[int, float] = {}
        rows = 0
        for cells in self._records.chunks(probe.id, 0, now_ms() + DAY_MS):
            rows += len(cells.at_ms)
            kept.update(zip(cells.at_ms, cells.raw(), strict=True))
        return kept, rows - len(kept)


def _within(patience_s: float, met: Callable[[], bool]) -> bool:
    """Whether it came to be so in time; looked at twice a second."""
    pause = threading.Event()
    until_s = time.monotonic() + patience_s
    while not met():
        if time.monotonic() > until_s:
            return False
        pause.wait(0.5)
    return True
