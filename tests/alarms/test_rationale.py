"""The rationalised list: whole, in the keeper's words, and honest about urgency."""

import pytest
from tests.alarms import refresh_list
from tests.alarms.boathouse import NOON, leaves_in

from roewatch.alarms.rationale import (
    RATIONALE,
    latches,
    priority_of,
    rationale_of,
    rationale_table,
    title_of,
)
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.stage import YOUNG, Stage


@pytest.mark.parametrize("kind", Kind)
def test_every_kind_says_why_it_is_there_and_what_to_do(kind: Kind) -> None:
    entry = RATIONALE[kind]
    for text in (entry.title, entry.cause, entry.consequence, entry.first_act):
        assert text
        assert text == text.strip()
    if entry.priority in {Priority.HIGH, Priority.MEDIUM} and kind is not Kind.TEST:
        assert entry.respond_ms is not None
        assert entry.respond_young_ms is not None
        assert entry.respond_young_ms <= entry.respond_ms


@pytest.mark.parametrize("kind", Kind)
@pytest.mark.parametrize("quantity", [None, *Quantity])
def test_a_title_fits_a_lock_screen_and_leaves_no_blank_to_fill(
    kind: Kind, quantity: Quantity | None
) -> None:
    title = title_of(kind, quantity)
    assert "{" not in title
    if quantity in {None, Quantity.TEMPERATURE, Quantity.PH}:
        assert len(f"A1 {title}") <= 40


@pytest.mark.parametrize(
    "kind",
    [Kind.HEATER_DEAD, Kind.HEATER_STUCK_ON, Kind.AERATION_STOPPED, Kind.POWER_CUT],
)
def test_whoever_is_sent_to_mains_is_told_to_unplug_first(kind: Kind) -> None:
    assert "Unplug at the wall before hands go in" in RATIONALE[kind].caution
    assert "Residual-current device" in RATIONALE[kind].caution
    assert "licensed" in RATIONALE[kind].caution


@pytest.mark.parametrize("kind", [Kind.PH_CRASH, Kind.ACID_OVERDOSE])
def test_whoever_is_sent_to_acid_is_told_how(kind: Kind) -> None:
    assert "Acid goes into water, never water into acid" in RATIONALE[kind].caution
    assert "Gloves" in RATIONALE[kind].caution


@pytest.mark.parametrize("kind", [Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW])
def test_what_to_do_outside_a_window_depends_on_the_quantity(kind: Kind) -> None:
    acts = {
        rationale_of(kind, q).first_act
        for q in (Quantity.TEMPERATURE, Quantity.PH, Quantity.CONDUCTIVITY, Quantity.LEVEL)
    }
    assert len(acts) == 4


def test_the_same_fault_is_more_urgent_over_eggs() -> None:
    over_adults = priority_of(Kind.BELOW_WINDOW, Stage.HOLDING, None, NOON, Quantity.TEMPERATURE)
    over_eggs = priority_of(Kind.BELOW_WINDOW, Stage.EGGS, None, NOON, Quantity.TEMPERATURE)
    assert (over_adults, over_eggs) == (Priority.MEDIUM, Priority.HIGH)


def test_urgency_grows_as_the_forecast_shortens() -> None:
    kind, stage = Kind.FALLING_TOO_FAST, Stage.HOLDING
    far, near = leaves_in(4 * HOUR_MS), leaves_in(50 * MINUTE_MS)
    assert priority_of(kind, stage, far, NOON) is Priority.MEDIUM
    assert priority_of(kind, stage, near, NOON) is Priority.HIGH
    # nothing new was measured, only time went by
    assert priority_of(kind, stage, far, NOON + 3 * HOUR_MS) is Priority.HIGH


@pytest.mark.parametrize("stage", Stage)
@pytest.mark.parametrize("kind", Kind)
def test_no_stage_makes_an_alarm_less_urgent_and_no_event_becomes_an_alarm(
    kind: Kind, stage: Stage
) -> None:
    plain = priority_of(kind, None, None, NOON)
    urgent = priority_of(kind, stage, leaves_in(MINUTE_MS), NOON)
    assert urgent.rank <= plain.rank
    assert (urgent is Priority.JOURNAL) == (plain is Priority.JOURNAL)


def test_a_dark_lamp_never_wakes_anybody() -> None:
    for stage in Stage:
        got = priority_of(Kind.BELOW_WINDOW, stage, leaves_in(MINUTE_MS), NOON, Quantity.LIGHT)
        assert got is Priority.LOW


def test_harm_is_latched_only_where_it_cannot_be_undone() -> None:
    latching = {kind for kind in Kind if latches(kind, Stage.EGGS)}
    assert Kind.BELOW_WINDOW in latching
    assert Kind.PROBE_SILENT not in latching
    assert not latches(Kind.BELOW_WINDOW, Stage.EGGS, Quantity.LIGHT)
    assert latches(Kind.BELOW_WINDOW, Stage.EGGS, Quantity.PH)
    for stage in set(Stage) - YOUNG:
        assert not any(latches(kind, stage) for kind in Kind)


def test_the_table_for_the_documentation_names_every_kind_in_whole_rows() -> None:
    rows = rationale_table().splitlines()
    assert {row.count("|") for row in rows} == {8}
    for kind in Kind:
        assert any(row.startswith(f"| `{kind}`") for row in rows)


def test_the_list_in_the_documentation_is_the_one_the_program_goes_by() -> None:
    assert refresh_list.FILE.read_text(encoding="utf-8") == refresh_list.written(), (
        "run .venv/bin/python -m tests.alarms.refresh_list"
    )


@pytest.mark.parametrize("kind", Kind)
@pytest.mark.parametrize("quantity", [None, *Quantity])
def test_nothing_wakes_anybody_that_has_until_tomorrow(
    kind: Kind, quantity: Quantity | None
) -> None:
    entry = rationale_of(kind, quantity)
    if entry.priority is Priority.HIGH and entry.respond_ms is not None:
        assert entry.respond_ms <= 2 * HOUR_MS
    if entry.priority is Priority.LOW:
        assert entry.respond_ms is not None
        assert entry.respond_ms >= 12 * HOUR_MS
