"""A full disk: said in words, nothing half kept, and room made before a reading is refused."""

import pytest
from tests.storage.builders import NOON, alarm, said

from roewatch.room.moment import DAY_MS
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.store import Store
from roewatch.storage.trouble import FullStoreError

MIDNIGHT = NOON - DAY_MS // 2


def _no_more_room(store: Store) -> None:
    """SQLite answers as it does when the disk has no page left."""
    (pages,) = store._db.execute("PRAGMA page_count").fetchone()
    store._db.execute(f"PRAGMA max_page_count = {pages}")


def _batch(first: int, n: int = 2000) -> Kept:
    return Kept(readings=[said(24.0, s=first + s) for s in range(n)], alarms=[alarm(first + 1)])


def test_when_the_disk_is_full_nothing_of_a_batch_is_kept_and_what_was_kept_stays(
    store: Store, records: Records
) -> None:
    store.keep(_batch(0))
    _no_more_room(store)
    with pytest.raises(FullStoreError, match="free some space"):
        store.keep(_batch(2000))
    assert records.counts()["readings"] == 2000
    assert [a.number for a in records.alarms()] == [1]


def test_keeping_goes_on_once_there_is_room_again(store: Store, records: Records) -> None:
    store.keep(_batch(0))
    _no_more_room(store)
    with pytest.raises(FullStoreError):
        store.keep(_batch(2000))
    store._db.execute("PRAGMA max_page_count = 1000000")
    store.keep(_batch(2000))
    assert records.counts()["readings"] == 4000


def test_shedding_roll_ups_makes_room_for_new_readings_without_more_disk(
    store: Store, records: Records
) -> None:
    for day in range(3):
        for name in ("a1-temp", "a2-temp", "a3-temp"):
            start = MIDNIGHT + day * DAY_MS
            store.keep(
                Kept(
                    readings=[
                        said(24 + hash((i, day)) % 64 / 16, at_ms=start + i * 10_000, probe=name)
                        for i in range(8640)
                    ]
                )
            )
    while store.pack_some(2**42):
        pass
    store._db.execute("VACUUM")  # no free page is left inside the file
    _no_more_room(store)
    with pytest.raises(FullStoreError):
        store.keep(_batch(10**6, 500))
    assert store.shed() == 9
    store.keep(_batch(10**6, 500))
    assert records.counts()["readings"] == 9 * 8640 + 500
