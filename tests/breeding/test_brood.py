"""A brood is folded from its records, in whatever order they come; an undo gives back what was."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.breeding.brood import Brood, Stay, brood_of, broods_of, next_id
from roewatch.breeding.count import MOST, Count, Counted, count_of
from roewatch.breeding.record import (
    BroodAct,
    BroodRecord,
    Outcome,
    in_effect,
    record_of,
    written,
)
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.stage import Stage

START = 1_800_000_000_000
FIELDS = {"species": "trichopsis-pumila", "parents": "pair 3", "water": "rain and peat"}


class Book:
    """Writes records one after the other; each is recorded a minute after the last."""

    def __init__(self) -> None:
        self.records: list[BroodRecord] = []

    def write(
        self,
        act: BroodAct,
        after_h: float = 0,
        *,
        tank: str = "",
        counted: Counted | None = None,
        count: str = "",
        detail: str = "",
        replaces: str = "",
        fields: dict[str, str] | None = None,
    ) -> str:
        number = len(self.records) + 1
        record = BroodRecord(
            id=f"r{number}",
            brood="2026-14",
            at_ms=START + round(after_h * HOUR_MS),
            made_ms=START + 100 * DAY_MS + number * 60_000,
            act=act,
            tank=tank,
            counted=counted,
            count=count_of(count) if count else None,
            detail=detail,
            replaces=replaces,
            fields=fields or {},
        )
        self.records.append(record)
        return record.id

    def undo(self, id_: str) -> str:
        return self.write(BroodAct.WITHDRAWN, replaces=id_)

    @property
    def brood(self) -> Brood:
        return brood_of("2026-14", self.records)


@pytest.fixture
def book() -> Book:
    book = Book()
    book.write(BroodAct.STARTED, tank="B6", fields=FIELDS)
    return book


@pytest.mark.parametrize("text", ["60", "about 60", "50-70", "about 50-70", "0"])
def test_a_count_is_kept_as_it_was_written(text: str) -> None:
    assert count_of(text).text == text


@pytest.mark.parametrize(
    ("text", "text_kept"), [("~60", "about 60"), ("50 – 70", "50-70"), ("60-60", "60")]
)
def test_other_ways_of_writing_a_count_are_read(text: str, text_kept: str) -> None:
    assert count_of(text).text == text_kept


@pytest.mark.parametrize("text", ["", "many", "70-50", "-3", "6.5", "1e3", "50-", "99999999"])
def test_what_is_no_count_is_refused_with_how_to_write_one(text: str) -> None:
    with pytest.raises(ValueError, match="write"):
        count_of(text)


counts = st.tuples(st.integers(0, MOST), st.integers(0, MOST), st.booleans()).map(
    lambda t: Count(low=min(t[:2]), high=max(t[:2]), about=t[2])
)


@given(counts)
def test_every_count_comes_back_from_its_text(count: Count) -> None:
    assert count_of(count.text) == count


def test_acts_set_the_moments_and_the_stage(book: Book) -> None:
    book.write(BroodAct.SPAWNED, 10, count="about 60")
    book.write(BroodAct.PARENTS_OUT, 11)
    book.write(BroodAct.HATCHED, 40, count="40-50")
    brood = book.brood
    assert (brood.species, brood.parents, brood.tank) == ("trichopsis-pumila", "pair 3", "B6")
    assert brood.spawned_ms == START + 10 * HOUR_MS
    assert brood.parents_out_ms == START + 11 * HOUR_MS
    assert (brood.stage, brood.stage_ms) == (Stage.LARVAE, START + 40 * HOUR_MS)
    assert {k.value: v.text for k, v in brood.counts.items()} == {
        "eggs": "about 60",
        "hatched": "40-50",
    }
    assert brood.open


def test_the_tank_goes_into_the_stage_an_act_means(book: Book) -> None:
    book.write(BroodAct.SPAWNED, 10)
    book.write(BroodAct.SWIMMING, 90)
    assert book.brood.staged == (
        JournalEntry(at_ms=START + 10 * HOUR_MS, tank="B6", deed=Deed.STAGE, detail="eggs"),
        JournalEntry(at_ms=START + 90 * HOUR_MS, tank="B6", deed=Deed.STAGE, detail="fry"),
    )


def test_white_eggs_add_up_and_other_counts_are_replaced(book: Book) -> None:
    book.write(BroodAct.COUNTED, 20, counted=Counted.WHITE, count="5")
    book.write(BroodAct.COUNTED, 30, counted=Counted.WHITE, count="2-4")
    book.write(BroodAct.COUNTED, 20, counted=Counted.EGGS, count="50")
    book.write(BroodAct.COUNTED, 21, counted=Counted.EGGS, count="64")
    assert book.brood.counts[Counted.WHITE].text == "7-9"
    assert book.brood.counts[Counted.EGGS].text == "64"


def test_one_parent_out_is_not_both_out(book: Book) -> None:
    book.write(BroodAct.SPAWNED, 10)
    book.write(BroodAct.PARENTS_OUT, 11, fields={"who": "female"})
    assert book.brood.female_out_ms == START + 11 * HOUR_MS
    assert book.brood.parents_out_ms is None
    book.write(BroodAct.PARENTS_OUT, 100, fields={"who": "male"})
    assert book.brood.parents_out_ms == START + 100 * HOUR_MS


def test_eggs_that_are_moved_leave_the_parents_behind(book: Book) -> None:
    book.write(BroodAct.MOVED, 5, tank="B1")
    assert book.brood.parents_out_ms is None
    book.write(BroodAct.SPAWNED, 10)
    book.write(BroodAct.MOVED, 12, tank="B2")
    assert book.brood.parents_out_ms == START + 12 * HOUR_MS


def test_a_brood_is_split_over_tanks_and_moves_on(book: Book) -> None:
    book.write(BroodAct.SWIMMING, 90)
    book.write(BroodAct.MOVED, 200, tank="B1", fields={"from": ""})
    book.write(BroodAct.MOVED, 300, tank="B2", fields={"from": "B6"})
    brood = book.brood
    assert brood.tanks == (
        Stay(tank="B6", from_ms=START, to_ms=START + 300 * HOUR_MS),
        Stay(tank="B1", from_ms=START + 200 * HOUR_MS),
        Stay(tank="B2", from_ms=START + 300 * HOUR_MS),
    )
    assert brood.last_tanks == ("B1", "B2")
    assert brood.tanks_at(START + 250 * HOUR_MS) == ("B6", "B1")
    assert [entry.tank for entry in brood.staged] == ["B6", "B1", "B2"]


def test_darkness_lasts_until_light_or_the_end(book: Book) -> None:
    book.write(BroodAct.DARK, 1)
    book.write(BroodAct.DARK, 2)
    book.write(BroodAct.LIGHT, 5)
    book.write(BroodAct.DARK, 7)
    assert book.brood.is_dark
    book.write(BroodAct.ENDED, 9, fields={"outcome": "lost"}, detail="fungus")
    brood = book.brood
    assert [(s.from_ms - START, (s.to_ms or 0) - START) for s in brood.dark] == [
        (1 * HOUR_MS, 5 * HOUR_MS),
        (7 * HOUR_MS, 9 * HOUR_MS),
    ]
    assert (brood.outcome, brood.lost_to, brood.open) == (Outcome.LOST, "fungus", False)
    assert brood.last_tanks == ("B6",)


def test_a_correction_holds_and_the_old_value_is_kept(book: Book) -> None:
    eggs = book.write(BroodAct.SPAWNED, 10, count="60")
    better = book.write(BroodAct.SPAWNED, 9, count="80", replaces=eggs)
    brood = book.brood
    assert brood.spawned_ms == START + 9 * HOUR_MS
    assert brood.counts[Counted.EGGS].text == "80"
    (old,) = brood.superseded
    assert old.record.id == eggs
    assert old.by is not None
    assert old.by.id == better


def test_undo_undo_of_undo_and_undo_of_a_correction(book: Book) -> None:
    eggs = book.write(BroodAct.SPAWNED, 10, count="60")
    better = book.write(BroodAct.SPAWNED, 9, count="80", replaces=eggs)
    book.undo(better)
    assert book.brood.spawned_ms == START + 10 * HOUR_MS
    undone = book.undo(eggs)
    assert book.brood.spawned_ms is None
    assert book.brood.stage is None
    book.undo(undone)
    assert book.brood.spawned_ms == START + 10 * HOUR_MS


def test_a_correction_of_a_correction_leaves_one(book: Book) -> None:
    eggs = book.write(BroodAct.SPAWNED, 10, count="60")
    second = book.write(BroodAct.SPAWNED, 10, count="70", replaces=eggs)
    book.write(BroodAct.SPAWNED, 10, count="80", replaces=second)
    assert book.brood.counts[Counted.EGGS].text == "80"
    assert [r.act for r in book.brood.records] == [BroodAct.STARTED, BroodAct.SPAWNED]


def test_of_two_corrections_of_one_record_the_later_word_stands(book: Book) -> None:
    eggs = book.write(BroodAct.SPAWNED, 10, count="60")
    book.write(BroodAct.SPAWNED, 10, count="70", replaces=eggs)
    last = book.write(BroodAct.SPAWNED, 10, count="90", replaces=eggs)
    assert book.brood.counts[Counted.EGGS].text == "90"
    book.undo(last)
    assert book.brood.counts[Counted.EGGS].text == "70"


def test_a_long_row_of_undoings_is_no_matter(book: Book) -> None:
    last = book.write(BroodAct.SPAWNED, 10)
    for _ in range(3001):
        last = book.undo(last)
    assert book.brood.spawned_ms is None
    book.undo(last)
    assert book.brood.spawned_ms is not None


def test_records_that_replace_each_other_in_a_ring_say_nothing(book: Book) -> None:
    book.write(BroodAct.SPAWNED, 10, replaces="r3")
    book.write(BroodAct.SPAWNED, 11, replaces="r2")
    assert book.brood.spawned_ms is None
    assert {old.record.id for old in book.brood.superseded} == {"r2", "r3"}


def test_a_start_recorded_late_still_names_species_and_tank() -> None:
    book = Book()
    book.write(BroodAct.SPAWNED, 5)
    book.write(BroodAct.STARTED, 10, tank="B6", fields=FIELDS)
    assert [entry.tank for entry in book.brood.staged] == ["B6"]


def test_broods_come_in_the_order_they_were_started() -> None:
    records = [
        BroodRecord(
            id=name, brood=name, at_ms=START + at, made_ms=START, act=BroodAct.STARTED, tank="A1"
        )
        for name, at in (("2026-2", 5), ("2026-1", 9), ("2026-3", 0))
    ]
    assert [brood.id for brood in broods_of(records)] == ["2026-3", "2026-2", "2026-1"]


def test_the_next_number_is_that_of_the_year_in_the_room() -> None:
    known = ["2026-9", "2026-10", "2025-40", "the red pair's"]
    new_year_there = 1_798_754_400_000  # 2026-12-31T22:00Z, midnight in Tallinn
    assert next_id(known, new_year_there - 1, "Europe/Tallinn") == "2026-11"
    assert next_id(known, new_year_there, "Europe/Tallinn") == "2027-1"


# -- properties --------------------------------------------------------------------------------

ids = st.sampled_from([f"r{i}" for i in range(10)])
acts = st.sampled_from(list(BroodAct))
tanks = st.sampled_from(["", "A1", "A2", "B6"])


@st.composite
def a_record(draw: st.DrawFn, id_: str) -> BroodRecord:
    act = draw(acts)
    names = st.sampled_from(["species", "tanks", "from", "who", "outcome", "stage"])
    values = st.sampled_from(["", "A1", "A2,B6", "female", "male", "reared", "eggs", "larvae"])
    return BroodRecord(
        id=id_,
        brood="2026-14",
        at_ms=START + draw(st.integers(0, 5)) * HOUR_MS,
        made_ms=START + draw(st.integers(0, 5)) * HOUR_MS,
        act=act,
        tank=draw(tanks),
        counted=draw(st.none() | st.sampled_from(list(Counted))),
        count=draw(st.none() | counts),
        detail=draw(st.sampled_from(["", "eggs", "fry", "feed", "look"])),
        fields=draw(st.dictionaries(names, values, max_size=3)),
        # to any record, older or newer, to itself, and to one nobody knows
        replaces=draw(st.just("") | st.just("r99") | ids),
    )


some_records = st.lists(ids, unique=True, max_size=8).flatmap(
    lambda chosen: st.tuples(*(a_record(id_) for id_ in chosen)).map(list)
)


@given(some_records, st.randoms())
def test_any_order_of_recording_gives_the_same_brood(
    records: list[BroodRecord], chance: Random
) -> None:
    mixed = [*records, *chance.sample(records, len(records) // 2)]  # some are sent twice
    chance.shuffle(mixed)
    assert brood_of("2026-14", mixed) == brood_of("2026-14", records)


@given(some_records, a_record("new"), st.integers(0, 5), st.booleans())
def test_an_undo_gives_back_exactly_what_was(
    records: list[BroodRecord], new: BroodRecord, made_h: int, twice: bool
) -> None:
    before = brood_of("2026-14", records)
    undo = BroodRecord(
        id="undo", brood="2026-14", at_ms=START, made_ms=START + made_h * HOUR_MS,
        act=BroodAct.WITHDRAWN, replaces="new",
    )  # fmt: skip
    after = brood_of("2026-14", [*records, new, undo])
    assert after.records == before.records
    assert _state(after) == _state(before)
    if twice:
        again = BroodRecord(
            id="again", brood="2026-14", at_ms=START, made_ms=undo.made_ms,
            act=BroodAct.WITHDRAWN, replaces="undo",
        )  # fmt: skip
        redone = brood_of("2026-14", [*records, new, undo, again])
        assert _state(redone) == _state(brood_of("2026-14", [*records, new]))


def _state(brood: Brood) -> dict[str, object]:
    """Everything but the history of what was said."""
    names = [n for n in Brood.__dataclass_fields__ if n != "superseded"]
    return {name: getattr(brood, name) for name in names}


@given(some_records)
def test_nothing_that_was_said_is_lost(records: list[BroodRecord]) -> None:
    brood = brood_of("2026-14", records)
    told = {r.id for r in brood.records} | {old.record.id for old in brood.superseded}
    assert told == {r.id for r in records if r.act is not BroodAct.WITHDRAWN}


@given(some_records)
def test_every_record_comes_back_from_what_is_written(records: list[BroodRecord]) -> None:
    for record in records:
        assert record_of(written(record)) == record


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"act": "danced"}, "write one of: started"),
        ({"count": "lots"}, "write 60"),
        ({"at_ms": "noon"}, "at_ms"),
        ({"brood": ""}, "brood"),
        ({"colour": "red"}, "no colour"),
        ({"fields": {"who": 3}}, "fields"),
    ],
)
def test_a_record_that_cannot_be_read_says_what_is_wrong(
    wrong: dict[str, object], said: str
) -> None:
    good: dict[str, object] = {
        "id": "a", "brood": "2026-14", "at_ms": 0, "made_ms": 0, "act": "note",
    }  # fmt: skip
    assert record_of(good).act is BroodAct.NOTE
    with pytest.raises(ValueError, match=said):
        record_of(good | wrong)


def test_nothing_recorded_is_a_brood_that_never_started() -> None:
    assert in_effect([]) == []
    assert not brood_of("2026-14", []).open
