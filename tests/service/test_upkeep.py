"""Upkeep: ripe days are packed between readings, and the keeper learns of a disk that fills."""

from dataclasses import dataclass, field, replace
from pathlib import Path

from tests.service.by_hand import NOON, HandClock, House, house

from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.service.settings.setup import Storage
from roewatch.service.upkeep import REST_S, Hands, Upkeep, set_aside
from roewatch.storage.backup import open_or_set_aside
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records


@dataclass
class Yard:
    """Upkeep by hand."""

    at: House
    free: int = 10_000
    aside: list[Path] = field(default_factory=list)

    def upkeep(self, *, keep_ms: int | None = None, hot_ms: int = DAY_MS) -> Upkeep:
        storage: Storage = replace(
            self.at.setup.storage, hot_ms=hot_ms, keep_ms=keep_ms, least_free_mb=500
        )
        return Upkeep(self.at.store, storage, lambda: self.at.watch.room.probes, self.hands)

    @property
    def hands(self) -> Hands:
        return Hands(
            own=self.at.watch.own,
            now_ms=self.at.clock.now_ms,
            free_mb=lambda: self.free,
            damaged=lambda: self.aside,
            monotonic=self.at.clock.monotonic,
        )


def days_kept(at: House, days: int) -> None:
    """That many days of two probes, a reading every ten minutes, up to now."""
    for probe in ("a1-temperature", "a2-temperature"):
        moments = range(at.clock.now_ms() - days * DAY_MS, at.clock.now_ms(), 10 * MINUTE_MS)
        at.store.keep(Kept(readings=[Flagged(probe, ms, 26.5, 26.5, Flag.GOOD) for ms in moments]))


def packed(at: House) -> int:
    (count,) = at.store._db.execute("SELECT count(*) FROM packed").fetchone()
    return int(count)


def hot(at: House) -> int:
    (count,) = at.store._db.execute("SELECT count(*) FROM hot").fetchone()
    return int(count)


def test_days_are_packed_one_slice_a_round_until_only_the_hot_ones_are_left(
    tmp_path: Path,
) -> None:
    with house(tmp_path, "A1", "A2") as at:
        days_kept(at, 5)
        upkeep = Yard(at).upkeep()
        before = packed(at)
        upkeep(True)
        assert packed(at) == before + 1, "a slice is one day of one probe"
        for _ in range(20):
            upkeep(True)
        assert hot(at) <= 2 * (DAY_MS + 7 * HOUR_MS) // (10 * MINUTE_MS)
        assert len(at.kept()) == 5 * 144, "nothing is lost on the way"


def test_while_readings_stream_there_is_a_slice_a_second_and_no_more(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        days_kept(at, 5)
        upkeep = Yard(at).upkeep()
        for _ in range(10):
            upkeep(False)
        assert packed(at) == 1
        at.clock.pass_by(1_000)
        upkeep(False)
        assert packed(at) == 2


def test_what_is_past_its_keeping_goes_and_its_roll_ups_stay(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        days_kept(at, 12)
        upkeep = Yard(at).upkeep(keep_ms=7 * DAY_MS)
        for _ in range(60):
            upkeep(True)
        (bodies,) = at.store._db.execute(
            "SELECT count(*) FROM packed WHERE body IS NULL"
        ).fetchone()
        assert bodies == 2 * 5, "the whole days that ended a week ago or more"


def test_when_all_is_done_it_rests_and_does_not_ask_at_every_round(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        upkeep = Yard(at).upkeep()
        upkeep(True)
        days_kept(at, 5)
        upkeep(True)
        assert packed(at) == 0
        at.clock.pass_by(int(REST_S * 1000))
        upkeep(True)
        assert packed(at) == 1


def test_a_disk_that_fills_is_one_alarm_and_one_end(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        yard = Yard(at)
        upkeep = yard.upkeep()
        at.watch.upkeep = upkeep
        at.idles(5)
        assert at.open_alarms(Kind.STORE_NEARLY_FULL) == []
        for free in (480, 470, 505, 460):
            yard.free = free
            at.idles(3)
        (alarm,) = at.open_alarms(Kind.STORE_NEARLY_FULL)
        assert alarm.present
        assert len(at.raised(Kind.STORE_NEARLY_FULL)) == 1, "a little up and down is no news"
        yard.free = 700
        at.idles(5)
        assert [a.present for a in at.open_alarms(Kind.STORE_NEARLY_FULL)] == [False]
        changes = [c for c in at.heard if c.alarm.kind is Kind.STORE_NEARLY_FULL]
        assert len(changes) == 2


def test_an_alarm_of_a_full_disk_outlives_a_restart_and_is_not_told_twice(tmp_path: Path) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at:
        yard = Yard(at, free=100)
        at.watch.upkeep = yard.upkeep()
        at.idles(2)
        (alarm,) = at.open_alarms(Kind.STORE_NEARLY_FULL)
    with house(tmp_path, clock=clock) as at:
        yard = Yard(at, free=100)
        at.watch.upkeep = yard.upkeep()
        at.idles(5)
        assert [a.number for a in at.open_alarms(Kind.STORE_NEARLY_FULL)] == [alarm.number]
        assert at.raised(Kind.STORE_NEARLY_FULL) == []


def test_on_a_full_disk_the_minutes_are_given_up_and_made_again_later(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        midnight = NOON // DAY_MS * DAY_MS
        moments = range(midnight - 3 * DAY_MS, midnight - DAY_MS, 10_000)
        at.store.keep(
            Kept(readings=[Flagged("a1-temperature", ms, 26.5, 26.5, Flag.GOOD) for ms in moments])
        )
        yard = Yard(at)
        upkeep = yard.upkeep()
        for _ in range(10):
            upkeep(True)
        rolled = _minutes(at)
        assert rolled > 0
        yard.free = 100
        _an_hour(at, upkeep)
        assert _minutes(at) == 0
        yard.free = 10_000
        _an_hour(at, upkeep)
        assert _minutes(at) == rolled


def test_each_quantity_is_kept_for_as_long_as_its_own_setting_says(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        days_kept(at, 12)
        yard = Yard(at)
        storage = replace(
            at.setup.storage, keep_ms=7 * DAY_MS, keep_of_ms={Quantity.TEMPERATURE: None}
        )
        upkeep = Upkeep(at.store, storage, lambda: at.watch.room.probes, yard.hands)
        for _ in range(80):
            upkeep(True)
        assert packed(at) > 0
        (gone,) = at.store._db.execute("SELECT count(*) FROM packed WHERE body IS NULL").fetchone()
        assert gone == 0


def test_a_packed_day_that_rots_on_the_disk_is_an_alarm_that_names_it(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        days_kept(at, 5)
        upkeep = Yard(at).upkeep()
        at.watch.upkeep = upkeep
        at.idles(20)
        at.store._db.execute(
            "UPDATE packed SET body = zeroblob(length(body)) WHERE slot = (SELECT min(slot)"
            " FROM packed)"
        )
        at.clock.pass_by(HOUR_MS)
        at.idles(3)
        (alarm,) = at.open_alarms(Kind.STORE_DAMAGED)
        assert "a1-temperature on " in alarm.message
        assert "bring that day in again" in alarm.message


def _an_hour(at: House, upkeep: Upkeep) -> None:
    for _ in range(60):
        at.clock.pass_by(MINUTE_MS)
        upkeep(True)


def _minutes(at: House) -> int:
    (count,) = at.store._db.execute(
        "SELECT count(*) FROM packed WHERE minutes IS NOT NULL"
    ).fetchone()
    return int(count)


def test_a_damaged_store_is_an_alarm_until_its_file_is_taken_away(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        path = at.setup.storage.path
    path.write_bytes(b"this was a store once" * 1000)
    store, aside = open_or_set_aside(path, now_ms=NOON)
    store.close()
    assert aside is not None
    with house(tmp_path) as at:
        yard = Yard(at)
        at.watch.upkeep = yard.upkeep()
        yard.aside = set_aside(path)
        assert yard.aside == [aside.path]
        at.idles(3)
        (alarm,) = at.open_alarms(Kind.STORE_DAMAGED)
        assert aside.path.name in alarm.message
        for left in tmp_path.glob("*.damaged-*"):
            left.unlink()
        yard.aside = set_aside(path)
        assert yard.aside == []
        at.idles(3)
        assert [a.present for a in at.open_alarms(Kind.STORE_DAMAGED)] == [False]
        assert len([c for c in at.heard if c.alarm.kind is Kind.STORE_DAMAGED]) == 2


def test_packing_and_reading_go_on_side_by_side(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        days_kept(at, 3)
        at.watch.upkeep = Yard(at).upkeep()
        at.lives(30)
        assert packed(at) > 0
        records = Records(at.setup.storage.path)
        try:
            assert len(at.kept()) == 3 * 144 + 30
        finally:
            records.close()
