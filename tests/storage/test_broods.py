"""The records of broods: kept once each, read back whole, and brought out of a damaged store."""

import sqlite3
from pathlib import Path

from tests.storage.builders import NOON

from roewatch.breeding.count import Counted, count_of
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.storage import schema
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.storage.salvage import salvage
from roewatch.storage.store import Store


def record(id_: str, brood: str = "2026-14", *, at_ms: int = NOON) -> BroodRecord:
    return BroodRecord(
        id=id_, brood=brood, at_ms=at_ms, made_ms=NOON, act=BroodAct.COUNTED, by="Keeper",
        tank="B6", counted=Counted.EGGS, count=count_of("about 50-70"), detail="under a leaf",
        fields={"who": "pair"}, replaces="r0",
    )  # fmt: skip


def test_records_come_back_with_every_field_in_the_order_of_what_happened(
    store: Store, records: Records
) -> None:
    second, first = record("r1", at_ms=NOON + 1), record("r2")
    other = record("r3", "2026-15")
    store.keep(Kept(broods=[second, other]))
    store.keep(Kept(broods=[first]))
    assert records.brood_records("2026-14") == [first, second]
    assert store.brood_records() == [first, other, second]


def test_a_record_sent_twice_is_kept_once_and_the_first_stays(
    store: Store, records: Records
) -> None:
    store.keep(Kept(broods=[record("r1")]))
    store.keep(Kept(broods=[record("r1", at_ms=NOON + 5), record("r1")]))
    assert records.brood_records() == [record("r1")]


def test_a_store_of_the_schema_before_gets_room_for_broods(path: Path) -> None:
    before = schema.STEPS.index(schema.BROODS)
    db = sqlite3.connect(path)
    db.executescript("".join(schema.STEPS[:before]))
    db.execute(f"PRAGMA application_id = {schema.APPLICATION}")
    db.execute(f"PRAGMA user_version = {before}")
    db.close()
    store = Store.open(path)
    store.keep(Kept(broods=[record("r1")]))
    assert store.brood_records() == [record("r1")]
    store.close()


def test_salvage_brings_the_records_of_broods(path: Path, tmp_path: Path) -> None:
    old = Store.open(tmp_path / "old.db")
    old.keep(Kept(broods=[record("r1"), record("r2")]))
    old.close()
    store = Store.open(path)
    found = salvage(tmp_path / "old.db", store)
    assert (found.broods, found.lost) == (2, [])
    assert store.brood_records() == [record("r1"), record("r2")]
    store.close()


def test_salvage_of_a_store_from_before_broods_misses_none(path: Path, tmp_path: Path) -> None:
    Store.open(tmp_path / "old.db").close()
    db = sqlite3.connect(tmp_path / "old.db")
    db.execute("DROP TABLE brood_records")
    db.close()
    store = Store.open(path)
    found = salvage(tmp_path / "old.db", store)
    assert (found.broods, found.lost) == (0, [])
    store.close()
