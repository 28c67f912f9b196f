"""One heater dies in real time: how soon phone and mailbox know, and how long before it matters.

    python -m tests.bench.heater_dies [--tank A3] [--hours 3] [--seed 1] [--outage-min 5]

Real Mosquitto with password and persistence, `roewatch watch` as its own process, twelve simulated
tanks at the pace of real time after two days of history that arrive as a broker's queue would,
a real web hook and a real mail server. Before the fault the broker is stopped for a while.
Takes as long as the physics takes: mostly half an hour to two hours.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.journeys import boathouse as house
from tests.journeys.broker import Broker
from tests.journeys.house import ROOT, now_ms, wait_until
from tests.journeys.receivers import MailReceiver, WebhookReceiver

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, iso, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch.storage.reader import Records
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault

ARRIVAL_COUNTS = ("B6", ROOM)  # their messages carry no time: they cannot speak of the past
ONCE_FOR_MS = 9 * MINUTE_MS  # a reminder is due ten minutes after the notice


def main() -> None:
    """Run it once and print what happened."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--tank", default="A3")
    asked.add_argument("--hours", type=float, default=3.0)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--outage-min", type=float, default=5.0)
    options = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="heater-dies-"))
    phone, mail, stand_in = WebhookReceiver(), MailReceiver(), WebhookReceiver()
    with Broker(folder / "broker") as broker:
        room = house.settings(folder, broker, phone=phone, mail=mail, stand_in=stand_in)
        env = os.environ | house.overrides(folder, broker)
        env["PYTHONPATH"] = os.pathsep.join([str(ROOT / "daemon"), str(ROOT / "simulators")])
        log = (folder / "daemon.log").open("wb")
        daemon = subprocess.Popen(
            [sys.executable, "-m", "roewatch.service.cli", "watch", "--room", str(room)],
            env=env, stdout=log, stderr=log,
        )  # fmt: skip
        try:
            run(options, broker, Records(folder / "boathouse.db"), phone, mail, stand_in)
        finally:
            daemon.terminate()
            daemon.wait(30)
            log.close()
            for receiver in (phone, mail, stand_in):
                receiver.close()
            print("kept in", folder)


def run(
    options: argparse.Namespace,
    broker: Broker,
    records: Records,
    phone: WebhookReceiver,
    mail: MailReceiver,
    stand_in: WebhookReceiver,
) -> None:
    """History, an outage, the fault, the notices."""
    tanks = boathouse(options.seed, now_ms() - 2 * DAY_MS)
    probes = house.publisher(broker)
    probes.start()
    wait_until(records.path.exists, "the daemon has opened its store")
    time.sleep(3)  # the daemon subscribes; what comes earlier would have nobody to queue for
    began = time.monotonic()
    said = probes.publish(s for s in tanks.run(now_ms()) if s.tank not in ARRIVAL_COUNTS)
    print(f"history: {said} readings published in {time.monotonic() - began:.1f} s", flush=True)

    def speak(until_ms: int) -> None:
        nonlocal said
        while now_ms() < until_ms:
            said += probes.publish(tanks.run(now_ms()))
            time.sleep(0.2)

    speak(now_ms() + 6 * MINUTE_MS)
    broker.stop()
    gone_ms = now_ms()
    speak(gone_ms + int(options.outage_min * MINUTE_MS))
    broker.start()
    speak(now_ms() + 4 * MINUTE_MS)
    for alarm in records.alarms(from_ms=gone_ms):
        print("outage:", alarm.kind, alarm.tank, alarm.state, iso(alarm.raised_ms), flush=True)
    wait_until(lambda: kept(records) >= said, "all that was said is kept")
    print(f"outage: published {said}, kept {kept(records)}", flush=True)

    fault = SimFault(kind=FaultKind.HEATER_DEAD, tank=options.tank, at_ms=now_ms())
    tanks.inject(fault)
    seen = len(phone.got), len(mail.got)
    print(f"{iso(fault.at_ms)} the heater of {options.tank} dies", flush=True)
    until_ms = now_ms() + int(options.hours * HOUR_MS)
    while len(phone.got) == seen[0] and now_ms() < until_ms:
        speak(now_ms() + 1000)
    told_ms = now_ms()
    if len(phone.got) == seen[0]:
        print("no notice: found nothing", flush=True)
        return
    speak(told_ms + ONCE_FOR_MS)
    exit_ms = tanks.exit_ms(options.tank, Quantity.TEMPERATURE, within_ms=24 * HOUR_MS)
    print(f"{iso(told_ms)} notice, {span_text(told_ms - fault.at_ms)} after the fault")
    if exit_ms is not None:
        print(f"{iso(exit_ms)} the water leaves its window: {span_text(exit_ms - told_ms)} ahead")
    print(f"web hook got {len(phone.got) - seen[0]}, mailbox got {len(mail.got) - seen[1]}")
    print(phone.got[-1].body["title"], phone.got[-1].body["body"], sep="\n", flush=True)
    probes.stop()


def kept(records: Records) -> int:
    """How many readings the store holds."""
    counts = records.counts()
    return counts["hot"]


if __name__ == "__main__":
    main()
