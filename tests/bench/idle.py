"""What a room costs while nothing happens: `python -m tests.bench.idle`; some minutes.

    python -m tests.bench.idle --probes 100 --every 10 --seconds 120 --starts 7

Starts `roewatch watch` several times and takes the seconds from the start of the process to
`broker_connected`; then lets it run with every probe speaking at its time by a real Mosquitto, and
reads from the kernel what processor time and memory it took. Targets: 1.0 s, 1 % of a core. Prints
the machine's load, because on a busy one the seconds mean little; processor time means the same.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon"), str(ROOT / "simulators")]

from tests.bench import ending  # noqa: E402
from tests.bench.flow import Load, room_file, topic  # noqa: E402
from tests.bench.start import celsius, daemon, resident_mb  # noqa: E402
from tests.journeys.broker import Broker, Publisher  # noqa: E402
from tests.journeys.house import message, now_ms, wait_until  # noqa: E402

MOST_S, MOST_SHARE = 1.0, 0.01
_TICKS = os.sysconf("SC_CLK_TCK")


def processor_s(pid: int) -> float:
    """User and system time of the process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS


def start(room: Path) -> tuple[float, float]:
    """(seconds to connected, processor seconds by then), the daemon ended again."""
    log = room.with_suffix(".log")
    log.unlink(missing_ok=True)
    began = time.monotonic()
    with daemon(room, log) as pid:
        wait_until(lambda: "broker_connected" in log.read_text(), "it is connected", within_s=60)
        took = time.monotonic() - began, processor_s(pid)
        wait_until(lambda: "watching room=" in log.read_text(), "it watches", within_s=60)
    return took


def idle(room: Path, broker: Broker, probes: int, every_s: float, seconds: float) -> float:
    """Share of one core it takes, after a minute of settling; prints its memory."""
    log, pause = room.with_suffix(".log"), threading.Event()
    settle_s = min(60.0, seconds)
    with daemon(room, log) as pid, Publisher(broker, "probes") as publisher:
        wait_until(lambda: "watching room=" in log.read_text(), "it watches", within_s=60)
        began, spent, from_s = time.monotonic(), 0.0, 0.0
        said = 0
        while (at_s := time.monotonic() - began) < settle_s + seconds:
            if not from_s and at_s >= settle_s:
                spent, from_s = processor_s(pid), at_s
            # spread over the period, as boards in a real room are
            due = int(at_s / every_s * probes)
            while said < due:
                value = celsius(said % probes, said // probes)
                publisher.publish_all([(topic(said % probes), message(now_ms(), value))])
                said += 1
            pause.wait(every_s / probes)
        share = (processor_s(pid) - spent) / (at_s - from_s)
        print(f"memory     {resident_mb(pid):.0f} MB resident with {probes} probes")
    return share


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--probes", type=int, default=100)
    parser.add_argument("--every", type=float, default=10.0, help="seconds between two readings")
    parser.add_argument("--seconds", type=float, default=120.0, help="measured, after a minute")
    parser.add_argument("--starts", type=int, default=7)
    asked = parser.parse_args()
    ending.in_order()
    with tempfile.TemporaryDirectory() as name, Broker(Path(name) / "broker") as broker:
        room = room_file(Path(name), broker, Load(asked.probes, 1))
        starts = [start(room) for _ in range(asked.starts)]
        print(f"load       {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        wall_s, cpu_s = (statistics.median(column) for column in zip(*starts, strict=True))
        print(
            f"start      {wall_s:.2f} s to connected, {cpu_s:.2f} s of processor "
            f"(medians of {asked.starts}; quickest {min(one[0] for one in starts):.2f} s)"
        )
        share = idle(room, broker, asked.probes, asked.every, asked.seconds)
        print(f"processor  {100 * share:.2f} % of one core at a reading each {asked.every:g} s")
    return 0 if wall_s <= MOST_S and share <= MOST_SHARE else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except subprocess.SubprocessError as error:
        sys.exit(str(error))
