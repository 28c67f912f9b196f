"""The daemon under fire: killed while readings flow, with its mirror's target and its broker.

    python tests/bench/daemon_kills.py --readings 2000000 --daemon 700 --mirror 150 --broker 150

Starts a Mosquitto with persistence, a VictoriaMetrics as the mirror, and `roewatch watch`;
publishes readings with their own time at QoS 1 in SenML packs of 50; and, in an order drawn by
lot, kills the daemon (SIGKILL) as soon as it has kept something new, kills the mirror's target
(SIGKILL) while it takes rows, and restarts the broker cleanly. At the end everything published
must be stored once, and the mirror must hold as many readings of every probe on every day. Exit 1
when anything differs.
"""

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon"), str(ROOT / "simulators")]

from tests.bench import ending  # noqa: E402
from tests.journeys.broker import Broker  # noqa: E402
from tests.journeys.fire import Fire, Plan, Struck  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=40_000)
    parser.add_argument("--daemon", type=int, default=14, help="kills of the daemon")
    parser.add_argument("--mirror", type=int, default=3, help="kills of the mirror's target")
    parser.add_argument("--broker", type=int, default=3, help="clean restarts of the broker")
    parser.add_argument(
        "--quiet", type=int, default=6, help="spells in which the mirror's position may move"
    )
    parser.add_argument("--seed", type=int, default=11)
    asked = parser.parse_args()
    ending.in_order()
    plan = Plan(
        readings=asked.readings,
        kills={
            Struck.DAEMON: asked.daemon,
            Struck.MIRROR: asked.mirror,
            Struck.BROKER: asked.broker,
        },
        quiet=asked.quiet,
        seed=asked.seed,
    )
    with (
        tempfile.TemporaryDirectory() as folder,
        Broker(Path(folder) / "broker") as broker,
    ):
        toll = Fire(Path(folder), broker, plan, lambda text: print(text, flush=True)).run()
    print(toll.text())
    return 0 if toll.whole else 1


if __name__ == "__main__":
    sys.exit(main())
