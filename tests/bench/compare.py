"""How long a comparison of invented broods takes and what it says. Run by command:

    python -m tests.bench.compare [broods]

Prints the time to fold the records into broods, then for every factor and success the verdict,
then what the first three broods alone conclude.
"""

import random
import sys
import time

from tests.breeding.invented import TRUTH, invented_records

from roewatch.breeding.brood import broods_of
from roewatch.breeding.compare import Attempted, Factor, compared
from roewatch.breeding.tally import Success


def main(broods: int = 500) -> None:
    """Print the figures."""
    chance = random.Random(1)
    records = [r for n in range(broods) for r in invented_records(n, chance, TRUTH)]
    began = time.perf_counter()
    folded = broods_of(records)
    took_ms = 1000 * (time.perf_counter() - began)
    print(f"{len(records)} records folded into {len(folded)} broods: {took_ms:.0f} ms")
    attempts = [Attempted(brood=b, celsius=round(chance.gauss(26, 1), 1)) for b in folded]
    whole_ms = 0.0
    for factor in Factor:
        for success in (Success.HATCHED, Success.SWIMMING, Success.DAY_14):
            began = time.perf_counter()
            found = compared(attempts, factor, success)
            took_ms = 1000 * (time.perf_counter() - began)
            whole_ms += took_ms
            print(f"\n{success} by {factor}: {took_ms:.1f} ms, concluded: {found.concluded}")
            for group in found.groups:
                said = group.share.text() if group.share else "–"
                print(f"  {group.name:14} {len(group.tallies):4} broods  {said}")
            print(f"  {found.verdict}")
    print(f"\nall twelve comparisons: {whole_ms:.0f} ms; made with {TRUTH}")
    three = compared(attempts[:3], Factor.WATER, Success.HATCHED)
    print(f"\nthree broods: concluded: {three.concluded}. {three.verdict}")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
