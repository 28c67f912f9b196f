"""A brood of 45 days through all stages, kept by the page's forms alone; some minutes.

    python -m tests.bench.brood_by_page [--step-min 10] [--report brood.pdf]

The same life, keeper and figures as `brood_by_commands`, every act by a form as it was served.
`--report` keeps the brood's report at the end, to be looked at page by page.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.brood_by_commands import DAYS, lived
from tests.journeys.test_brood_by_page import page_life

from roewatch.room.moment import MINUTE_MS


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--step-min", type=int, default=10)
    parser.add_argument("--report", type=Path)
    given = parser.parse_args()
    began_s = time.monotonic()
    with (
        tempfile.TemporaryDirectory() as folder,
        page_life(Path(folder), step_ms=given.step_min * MINUTE_MS) as life,
    ):
        missed = lived(life)
        print(
            f"\n{DAYS} days, {life.told.rounds} rounds, {life.told.commands} forms in "
            f"{time.monotonic() - began_s:.0f} s"
        )
        if given.report:
            for kind, content in life.pictures().items():
                given.report.with_suffix(kind or ".html").write_bytes(content)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
