"""The book of broods: clocks by the real water of the brood's own tank, and what follows."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from tests.service.by_hand import HandClock, House, house
from tests.service.test_broods import BROOD, now, record, start, told

from roewatch.breeding.brood import Brood, brood_of
from roewatch.breeding.development import CannotSay, Leg
from roewatch.breeding.forecast import Expected
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.breeding.todo import Task
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.stage import Stage
from roewatch.service.broods import Broods
from roewatch.storage.kept import Kept
from roewatch.storage.reader import Records
from roewatch.views.brood_ports import BroodOutlook


@contextmanager
def book(at: House) -> Iterator[Broods]:
    def write(records: Sequence[BroodRecord]) -> None:
        assert told(at, *records) == ""

    def remember(key: str, text: str) -> None:
        at.store.keep(Kept(states={key: text}))

    records = Records(at.setup.storage.path)
    try:
        yield Broods(
            records,
            lambda: at.watch.room,
            lambda: at.setup.species,
            write=write,
            remember=remember,
        )
    finally:
        records.close()


def brood(at: House, id_: str = BROOD) -> Brood:
    return brood_of(id_, at.store.brood_records())


def outlook(at: House, id_: str = BROOD) -> BroodOutlook:
    with book(at) as open_book:
        return open_book.outlook(brood(at, id_), at.clock.now_ms())


def window(seen: BroodOutlook, leg: Leg) -> Expected:
    expected = seen.forecast.expected(leg)
    assert expected is not None
    return expected


def test_the_hatch_is_forecast_from_what_the_tanks_own_probe_says(tmp_path: Path) -> None:
    with house(tmp_path, "A1", "A2") as at:
        start(at, species="haludaria-fasciata")
        now(at, BroodAct.SPAWNED)
        nominal = window(outlook(at), Leg.HATCH)
        at.lives(10 * 60, celsius=22.0)
        seen = outlook(at)
        cooler = window(seen, Leg.HATCH)
        assert seen.mean_celsius is not None
        assert abs(seen.mean_celsius - 22.0) < 0.05
        assert cooler.likely_ms > nominal.likely_ms  # the sheet's water is warmer
        assert cooler.width_ms < nominal.width_ms


def test_a_brood_of_a_species_nobody_knows_cannot_be_forecast_and_says_why(
    tmp_path: Path,
) -> None:
    with house(tmp_path) as at:
        start(at, species="")
        now(at, BroodAct.SPAWNED)
        seen = outlook(at)
        assert isinstance(seen.forecast.hatch, CannotSay)
        assert "no species named" in seen.forecast.hatch.why


def test_a_stage_is_proposed_once_the_clock_says_so(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED, ago_ms=12 * HOUR_MS)
        assert outlook(at).proposal is None
        hatch = window(outlook(at), Leg.HATCH)
        at.clock.pass_by(hatch.likely_ms - at.clock.now_ms() + MINUTE_MS)
        proposed = outlook(at).proposal
        assert proposed is not None
        assert (proposed.tank, proposed.stage) == ("A1", Stage.LARVAE)
        now(at, BroodAct.HATCHED)
        assert outlook(at).proposal is None


def test_the_keepers_own_broods_speak_for_the_next_of_their_species(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at, species="haludaria-fasciata")
        now(at, BroodAct.SPAWNED)
        at.lives(24 * 60, celsius=25.0)
        now(at, BroodAct.HATCHED)
        second = record(at, BroodAct.STARTED, tank="A1", fields={"species": "haludaria-fasciata"})
        eggs = record(at, BroodAct.SPAWNED)
        told(at, *(_of("2026-2", r) for r in (second, eggs)))
        assert "our own 1 brood weighs 1 of" in window(outlook(at, "2026-2"), Leg.HATCH).why
        other = record(at, BroodAct.STARTED, tank="A1", fields={"species": "danio-rerio"})
        told(at, _of("2026-3", other), _of("2026-3", record(at, BroodAct.SPAWNED)))
        assert "our own" not in window(outlook(at, "2026-3"), Leg.HATCH).why


def _of(id_: str, made: BroodRecord) -> BroodRecord:
    return replace(made, brood=id_)


def test_todos_come_in_order_and_a_ticked_one_is_gone(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED)
        asked = outlook(at).todos
        due = [todo.due_ms for todo in asked if not todo.flag]
        assert due == sorted(due)
        culture = next(todo for todo in asked if todo.task is Task.CULTURE)
        now(at, BroodAct.DONE, detail=culture.key)
        assert culture.key not in {todo.key for todo in outlook(at).todos}


def test_the_live_food_calendar_says_that_it_moved(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at, species="apistogramma-cacatuoides")
        now(at, BroodAct.SPAWNED)
        at.lives(60, celsius=28.0)
        assert outlook(at).moved == ()
        at.lives(26 * 60, celsius=23.0)
        assert any("later than told before" in line for line in outlook(at).moved)


def test_what_the_calendar_published_is_remembered_and_moves_with_its_identity(
    tmp_path: Path,
) -> None:
    clock = HandClock()
    with house(tmp_path, clock=clock) as at, book(at) as open_book:
        start(at)
        now(at, BroodAct.SPAWNED)
        first = open_book.calendar(clock.now_ms())
        assert open_book.calendar(clock.now_ms()) == first
    clock.pass_by(HOUR_MS)
    with house(tmp_path, clock=clock) as at, book(at) as open_book:
        now(at, BroodAct.HATCHED)
        second = open_book.calendar(clock.now_ms())
        key = f"{BROOD}/free-swimming"
        assert second[key].uid == first[key].uid
        assert second[key].sequence == first[key].sequence + 1
        assert second[key].from_ms != first[key].from_ms


def test_an_ended_brood_asks_nothing(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        start(at)
        now(at, BroodAct.SPAWNED, ago_ms=3 * HOUR_MS)
        now(at, BroodAct.ENDED, fields={"outcome": "lost"})
        with book(at) as open_book:
            assert open_book.todos(at.clock.now_ms() + DAY_MS) == ()
