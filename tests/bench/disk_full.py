"""A disk that fills under the running daemon: `python tests/bench/disk_full.py FOLDER`.

    mount -t tmpfs -o size=24m tmpfs /mnt/small && python tests/bench/disk_full.py /mnt/small

Broker and daemon run; readings stream at QoS 1 until the store's small disk is full, and go on
streaming. Then a ballast file is freed, and everything published must be in the store, once, with
the process that was started first. Prints what the daemon said. Exit 1 if anything is missing.
"""

import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "daemon")]

from tests.bench import ending  # noqa: E402
from tests.bench.small_disk import small_disk  # noqa: E402
from tests.journeys.broker import Broker, Publisher  # noqa: E402
from tests.journeys.house import House, message, now_ms, wait_until  # noqa: E402

MOST = 100_000_000  # bytes; on anything larger this would fill a disk somebody needs
LOT = 500
TANKS = tuple(f"{rack}{place}" for rack in "ABCD" for place in range(1, 11))


def lot(number: int, begin_ms: int) -> list[tuple[str, bytes]]:
    """The messages of one lot: every tank in turn, 10 ms apart."""
    return [
        (
            f"house/{TANKS[i % len(TANKS)].lower()}/temperature",
            message(begin_ms + (number * LOT + i) * 10, 26.0 + i % 7 * 0.0625),
        )
        for i in range(LOT)
    ]


def main() -> int:
    folder = small_disk(__doc__, MOST)
    ballast = folder / "ballast"
    ending.in_order()
    with (
        tempfile.TemporaryDirectory(prefix="roewatch-full-") as elsewhere,
        Broker(Path(elsewhere)) as broker,
    ):
        ways = [("Keeper", "phone", "http://127.0.0.1:1/x")]
        house = House(folder / "house", broker, tanks=TANKS, ways=ways)
        house.start()
        try:
            return run(house, broker, ballast, house.pid)
        finally:
            house.stop()


def run(house: House, broker: Broker, ballast: Path, pid: int) -> int:
    """Fill, free, count."""
    begin_ms = now_ms() - 24 * 3_600_000
    lots = 0
    with Publisher(broker, "stream") as publisher:
        while "store_failed" not in house.log:
            publisher.publish_all(lot(lots, begin_ms))
            lots += 1
        full = lots * LOT
        for _ in range(10):
            publisher.publish_all(lot(lots, begin_ms))
            lots += 1
    kept = house.readings_kept()
    print(f"published {full:,} when the daemon said the disk is full, {kept:,} of them kept")
    time.sleep(5)
    ballast.unlink()
    published = lots * LOT
    began_s = time.monotonic()
    try:
        wait_until(lambda: house.readings_kept() >= published, "all is kept", within_s=120)
    except AssertionError as late:
        print(late)
    took_s = time.monotonic() - began_s
    kept = house.readings_kept()
    print(f"published {published:,}, kept {kept:,}, {took_s:.1f} s after the disk had room again")
    same = house.running and house.pid == pid
    print(f"the daemon lived through it: {same}")
    for line in house.log.splitlines():
        if "store" in line or "watch_works" in line or "Traceback" in line:
            print("  said:", line)
    return 0 if kept == published and same else 1


if __name__ == "__main__":
    sys.exit(main())
