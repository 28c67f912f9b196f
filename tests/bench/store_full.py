"""A disk that fills up: `python tests/bench/store_full.py FOLDER`, on a small file system.

    mount -t tmpfs -o size=48m tmpfs /mnt/small && python tests/bench/store_full.py /mnt/small

Keeps readings until the disk is full, tries once more, frees a ballast file of 8 MB, goes on, and
checks that every reading `keep` returned for is there, once, and the file sound.
"""

import sys

from tests.bench.small_disk import BALLAST, small_disk

from roewatch.room.reading import Flag, Flagged
from roewatch.storage.backup import verify
from roewatch.storage.kept import Kept
from roewatch.storage.store import Store
from roewatch.storage.trouble import FullStoreError

START = 1_767_225_600_000
MOST = 1_000_000_000  # bytes; on anything larger this would fill a disk somebody needs


def fill(store: Store, at_ms: int) -> int:
    """Keep batches until the disk is full; returns the moment after the last one kept."""
    while True:
        batch = [
            Flagged("a1-temp", at_ms + i, 24 + i * 7919 % 97 / 16, 0.0, Flag.GOOD)
            for i in range(1000)
        ]
        try:
            store.keep(Kept(readings=batch))
        except FullStoreError as error:
            print(f"said: {error}")
            return at_ms
        at_ms += 1000


def main() -> int:
    folder = small_disk(__doc__, MOST)
    ballast = folder / "ballast"
    store = Store.open(folder / "room.db")
    full = fill(store, START)
    print(f"kept {full - START:,} readings until the disk was full")
    ballast.unlink()
    after = fill(store, full)
    print(f"kept {after - full:,} more once {BALLAST:,} bytes were freed")
    store.close()
    store = Store.open(folder / "room.db")
    moments = [reading.at_ms for reading in store.kept_after({})]
    store.close()
    whole = moments == list(range(START, after))
    faults = verify(folder / "room.db").faults
    print(f"all of them there, once: {whole}; faults found: {len(faults)}")
    return 0 if whole and not faults else 1


if __name__ == "__main__":
    sys.exit(main())
