"""Fuzzes what comes from outside: payloads through the intake, room files through the settings.

    python -m tests.bench.fuzz payloads --count 10000000 --processes 2
    python -m tests.bench.fuzz rooms --count 100000

Seeded: the same seed, count and number of processes make the same input. Ends with 1 at the first
thing raised or insane, and prints what it was made from. Prints the rate and how the resident
memory of each process went, from the first hundredth to the end.
"""

import argparse
import multiprocessing
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon")]

from tests.bench.fuzz.payloads import Intake  # noqa: E402
from tests.bench.fuzz.rooms import one, settled_reader  # noqa: E402


@dataclass(frozen=True, slots=True)
class Share:
    """One process's part of the work."""

    count: int
    seed: int
    minutes: float

    def numbers(self) -> Iterator[int]:
        """1, 2, 3 … until the count is reached or the time is up."""
        until_s = time.monotonic() + 60 * self.minutes
        for number in range(1, self.count + 1):
            yield number
            if time.monotonic() > until_s:
                return


@dataclass(frozen=True, slots=True)
class Went:
    """How it went. MB: resident after the first hundredth, at the end, and at most in between."""

    counts: Counter[str]
    took_s: float
    slowest_s: float
    early_mb: float
    late_mb: float
    most_mb: float


class Memory:
    """This process's resident memory, looked at a hundred times."""

    def __init__(self, count: int) -> None:
        self._every = max(1, count // 100)
        self.early = self.late = self.most = 0.0

    def look(self, number: int) -> None:
        if number % self._every:
            return
        self.late = resident_mb()
        self.most = max(self.most, self.late)
        if number <= self._every:
            self.early = self.late


def resident_mb() -> float:
    text = Path("/proc/self/status").read_text()
    return int(text.partition("VmRSS:")[2].split()[0]) / 1024


def payloads(share: Share) -> Went:
    rng, intake, memory = random.Random(share.seed), Intake(), Memory(share.count)
    began = time.perf_counter()
    for number in share.numbers():
        intake.one(rng)
        intake.counts["done"] += 1
        memory.look(number)
    intake.settle()
    intake.counts["log lines"] = intake.lines.count
    return _went(intake.counts, began, intake.slowest_s, memory)


def rooms(share: Share) -> Went:
    rng, counts, memory, slowest_s = (
        random.Random(share.seed),
        Counter[str](),
        Memory(share.count),
        0.0,
    )
    began = time.perf_counter()
    with settled_reader() as reader:
        for number in share.numbers():
            at = time.process_time()
            _, faults = one(rng, reader)
            slowest_s = max(slowest_s, time.process_time() - at)
            counts["done"] += 1
            counts["faults named"] += len(faults)
            counts["files without a fault"] += not faults
            memory.look(number)
    return _went(counts, began, slowest_s, memory)


def _went(counts: Counter[str], began: float, slowest_s: float, memory: Memory) -> Went:
    took_s = time.perf_counter() - began
    return Went(counts, took_s, slowest_s, memory.early, memory.late, memory.most)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["payloads", "rooms"])
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e6, help="end early after so many")
    asked = parser.parse_args()
    each = asked.count // asked.processes
    shares = [
        Share(each, asked.seed * 1000 + number, asked.minutes) for number in range(asked.processes)
    ]
    with multiprocessing.Pool(asked.processes) as pool:
        all_went = pool.map({"payloads": payloads, "rooms": rooms}[asked.what], shares)
    took_s = max(went.took_s for went in all_went)
    done = sum(went.counts.pop("done") for went in all_went)
    print(f"{done:,} {asked.what} (seed {asked.seed}, {asked.processes} processes): no crash")
    slowest_s = max(went.slowest_s for went in all_went)
    print(
        f"rate     {done / took_s:,.0f} a second; the slowest {slowest_s:.2f} s of processor time"
    )
    for name, count in sum((went.counts for went in all_went), Counter[str]()).items():
        print(f"{count:>12,} {name}")
    for went in all_went:
        print(
            f"memory   {went.early_mb:.1f} MB after the first hundredth, {went.late_mb:.1f} MB at "
            f"the end, {went.most_mb:.1f} MB at most"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
