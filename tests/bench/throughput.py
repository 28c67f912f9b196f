"""How fast readings go through the daemon, beside a client that only counts them.

    python tests/bench/throughput.py --readings 50000
    python tests/bench/throughput.py --readings 500000 --pack 50
    python tests/bench/throughput.py --readings 200000 --beside 10000

Starts a Mosquitto of its own with password, persistence and our queue settings. In each round N
readings are published at QoS 1 (one a message, JSON with its own time; or SenML packs) while the
receiver is away, then it drains them from its lasting session:

  counting   a paho client that acknowledges each message at once and counts it
  daemon     `roewatch watch`: decoded, judged, kept with a full sync, acknowledged after that

With --live the receiver is there while they are published, and all share the processors.
Both take turns, so that a busy machine weighs on both. Prints readings a second, processor time
for each, and the ratio of the two rates; with --beside, the daemon with so many probes takes turns
with the one with --probes, and the ratio is of the processor time for each reading. Fails (exit 1)
if not every reading is stored exactly once.
"""

import argparse
import contextlib
import os
import statistics
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.bench import ending  # noqa: E402
from tests.bench.flow import Load, Outcome, measure_counting, measure_daemon  # noqa: E402
from tests.journeys.broker import Broker  # noqa: E402


class Bench:
    """Rounds in turns. Raises RuntimeError when not every reading is stored exactly once."""

    def __init__(self, folder: Path, broker: Broker) -> None:
        self._folder, self._broker, self._runs = folder, broker, 0

    def counting(self, load: Load) -> Outcome:
        """A client that only counts."""
        outcome = measure_counting(self._broker, load)
        print(outcome.line(), flush=True)
        return outcome

    def daemon(self, load: Load) -> Outcome:
        """The whole daemon."""
        self._runs += 1
        run = self._folder / f"run-{self._runs}"
        run.mkdir()
        outcome, kept, memory_mb = measure_daemon(self._broker, run, load)
        print(f"{outcome.line()}, {load.probes} probes, {memory_mb:.0f} MB", flush=True)
        if kept != load.readings:
            raise RuntimeError(f"{kept} stored of {load.readings} published")
        return outcome


def middle(what: str, ratios: list[float]) -> None:
    spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
    print(f"{what}, the middle one of {len(ratios)}: {statistics.median(ratios):.2f} ({spread})")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=50_000, help="in each round")
    parser.add_argument("--probes", type=int, default=100)
    parser.add_argument("--a-tank", type=int, default=1, help="probes on one tank")
    parser.add_argument("--pack", type=int, default=1, help="readings in one message")
    parser.add_argument("--beside", type=int, default=0, help="compare with so many probes")
    parser.add_argument("--live", action="store_true", help="publish while they are received")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--keep", type=Path, help="leave stores and logs in this folder")
    asked = parser.parse_args()
    ending.in_order()

    def load(probes: int) -> Load:
        return Load.of(asked.readings, probes, asked.pack, asked.a_tank, live=asked.live)

    print(f"{load(asked.probes)}, {os.cpu_count()} processors")
    with contextlib.ExitStack() as stack:
        folder = asked.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        broker = stack.enter_context(Broker(folder / "broker"))
        bench = Bench(folder, broker)
        ratios, costs, rates = [], [], []
        for _ in range(asked.repeats):
            if asked.beside:
                few, many = bench.daemon(load(asked.probes)), bench.daemon(load(asked.beside))
                costs.append(many.cost_us / few.cost_us)
                continue
            counting, daemon = bench.counting(load(asked.probes)), bench.daemon(load(asked.probes))
            ratios.append(daemon.rate / counting.rate)
            costs.append(daemon.cost_us / counting.cost_us)
            rates.append(daemon.rate)
    if asked.beside:
        middle(f"cost of a reading, {asked.beside} probes to {asked.probes}", costs)
    else:
        middle("rate, daemon to counting", ratios)
        middle("processor time, daemon to counting", costs)
        print(f"readings a second, the middle one: {statistics.median(rates):.0f}")
    print("every reading stored each time, each once")
    return 0


if __name__ == "__main__":
    sys.exit(main())
