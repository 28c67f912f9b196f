"""Killing: the daemon dies again and again while readings stream in; then everything is counted."""

import random
import threading
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tests.journeys.broker import Broker, Publisher
from tests.journeys.house import House, message, now_ms, wait_until
from tests.journeys.receivers import WebhookReceiver

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.notice import Outcome
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch.service.replay import replay
from roewatch.service.settings.load import load_setup
from roewatch.storage.reader import Records

FINAL = {Outcome.TAKEN, Outcome.GIVEN_UP}
TANKS = ("A1", "A2", "A3", "A4")
LOT = 200
# days pass in seconds here: without this most would be over before anybody waits for company
TELL_ALL = """high_wait = "0.001 s"
group_wait = "0.001 s"
start_hold = "0.001 s"
flood = 100000
most = 100000
well_at = "never"
digest_at = "never"
"""
UNDELIVERED = "SELECT count(*) FROM notices WHERE next_ms IS NOT NULL"

Life = tuple[str, str, str, int]
"""Tank, alarm kind, state and moment of one alarm change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Toll:
    """What was counted after the last restart.

    unfinished: notices neither taken nor given up because the alarm was over before they could go.
    unheard: notices with a receipt that the receiver never got.
    live, replayed: every alarm change of the killed daemon, and of a replay of the same readings.
    """

    published: int
    kept: int
    foreign: int
    notices: int
    unfinished: int
    unheard: int
    repeats: int
    kills: int
    live: list[Life]
    replayed: list[Life]


def stream(readings: int, end_ms: int) -> list[tuple[str, int, float]]:
    """Readings a minute apart for four tanks, each too warm for four hours of every ten."""
    moments = readings // len(TANKS)
    begin_ms = end_ms - moments * MINUTE_MS
    rows = []
    for i in range(moments):
        at_ms = begin_ms + i * MINUTE_MS
        for n, tank in enumerate(TANKS):
            hot = (at_ms // HOUR_MS + 2 * n) % 10 < 4
            rows.append((tank, at_ms + n, (31.0 if hot else 26.0) + (i % 7) * 0.0625))
    return rows


def killed_while_streaming(
    folder: Path, broker: Broker, receiver: WebhookReceiver, *, readings: int, kills: int, seed: int
) -> Toll:
    """Publish `readings`, kill the daemon `kills` times meanwhile, then let it finish and count."""
    house = House(
        folder,
        broker,
        tanks=TANKS,
        ways=[("Keeper", "phone", receiver.url)],
        stage="fry",
        telling=TELL_ALL,
    )
    rows = stream(readings, now_ms())
    house.start()
    wait_until(lambda: "broker_connected" in house.log, "the daemon is connected")
    chance = random.Random(seed)
    sent = threading.Event()

    def publish() -> None:
        with Publisher(broker, "stream") as publisher:
            for begin in range(0, len(rows), LOT):
                for tank, at_ms, value in rows[begin : begin + LOT]:
                    publisher.publish(f"house/{tank.lower()}/temperature", message(at_ms, value))
        sent.set()

    publishing = threading.Thread(target=publish)
    publishing.start()
    for kill in range(1, kills + 1):
        target = len(rows) * kill // (kills + 1)
        wait_until(
            lambda target=target: house.readings_kept() >= target or sent.is_set(),  # type: ignore[misc]
            f"{target} readings are kept",
            within_s=120,
        )
        sent.wait(chance.uniform(0, 0.05))  # a kill at any point of a batch
        house.kill()
        house.start()
    publishing.join()
    wait_until(lambda: house.readings_kept() >= len(rows), "every reading is kept", within_s=120)
    wait_until(lambda: not _undelivered(house), "every notice is delivered", within_s=60)
    house.stop()
    return _count(house, receiver, rows, kills)


def _undelivered(house: House) -> int:
    with house.open() as store:
        return int(store.execute(UNDELIVERED).fetchone()[0])


def _count(
    house: House, receiver: WebhookReceiver, rows: list[tuple[str, int, float]], kills: int
) -> Toll:
    setup = load_setup(house.room, {})
    records = Records(house.store)
    try:
        kept = Counter(
            Reading(probe.id, at_ms, value)
            for probe in setup.room.probes
            for series in [records.series(probe, 0, now_ms() + DAY_MS)]
            for at_ms, value in zip(series.at_ms, series.value, strict=True)
        )
        alarms = records.alarms(limit=1_000_000)
        told = {n.id: r for a in alarms for n, r in records.told(a.number)}
        live = [life(change) for a in alarms for change in records.changes(a.number)]
    finally:
        records.close()
    got = Counter(receiver.keys)
    sent = Counter(Reading(f"{t.lower()}-temperature", at_ms, value) for t, at_ms, value in rows)
    replayed = replay(
        setup.room, sorted(sent, key=lambda r: (r.at_ms, r.probe)), limits=setup.limits
    )
    return Toll(
        published=len(rows),
        kept=(kept & sent).total(),
        foreign=(kept - sent).total(),
        notices=len(told),
        unfinished=sum(r is None or r.outcome not in FINAL for r in told.values()),
        unheard=sum(
            r is not None and r.outcome is Outcome.TAKEN and n not in got for n, r in told.items()
        ),
        repeats=sum(count - 1 for count in got.values()),
        kills=kills,
        live=sorted(live),
        replayed=sorted(life(change) for change in replayed),
    )


def life(change: AlarmChange) -> Life:
    """What of a change must be the same, live and replayed."""
    return (change.alarm.tank, change.alarm.kind.value, change.alarm.state.value, change.at_ms)
