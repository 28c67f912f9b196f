"""Alarm performance: the figures are counted right, and the advice follows from them."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.alarms.boathouse import KEEPER, NOON, alarm, boathouse, found, over

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.notice import About, Notice
from roewatch.alarms.performance import (
    Performance,
    advice_on,
    most_within,
    performance_of,
    performance_text,
)
from roewatch.alarms.telling import Teller
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.local_time import month_span
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso

MONTH = month_span(2026, 3, "Europe/Tallinn")


class Month:
    """A March at the Boathouse, told by what happened in it."""

    def __init__(self) -> None:
        room = boathouse()
        self.book = AlarmBook(room)
        self.teller = Teller(room, (KEEPER,), settings=TellingSettings(high_wait_ms=0))
        self.teller.advance(MONTH[0])
        self.changes: list[AlarmChange] = []
        self.notices: list[Notice] = []

    def take(self, finding: Finding) -> None:
        self._step(self.book.take(finding), finding.at_ms)

    def acknowledge(self, at_ms: int) -> None:
        for one in self.book.open():
            self._step(self.book.acknowledge(one.number, "Keeper", at_ms), at_ms)

    def _step(self, changes: list[AlarmChange], at_ms: int) -> None:
        self.changes += changes
        self.notices += self.teller.take(changes, at_ms)

    def figures(self) -> Performance:
        return performance_of(
            self.changes, self.notices, from_ms=MONTH[0], to_ms=MONTH[1], zone="Europe/Tallinn"
        )


def test_a_month_is_as_long_as_the_room_has_it() -> None:
    # summer time begins on 29 March 2026, so March is an hour short there
    assert MONTH[1] - MONTH[0] == 31 * DAY_MS - HOUR_MS
    assert MONTH[0] == at_ms_of_iso("2026-02-28T22:00:00Z")
    assert month_span(2026, 12, "UTC")[1] == at_ms_of_iso("2027-01-01T00:00:00Z")


def test_a_quiet_month_has_nothing_to_mend() -> None:
    figures = Month().figures()
    assert figures.rings == 0
    assert advice_on(figures) == []
    assert performance_text(figures).endswith("Nothing to mend.")


def test_rings_are_counted_by_priority_and_by_the_busiest_hour() -> None:
    month = Month()
    for place, minute in enumerate((0, 4, 9, 30, 59, 300)):
        month.take(found(f"A{place + 1}", at_ms=NOON + minute * MINUTE_MS))
    month.take(found("B1", Kind.HEATER_WORKS_HARDER, at_ms=NOON + DAY_MS))
    month.take(found("B2", Kind.WATER_CHANGE, at_ms=NOON + DAY_MS))
    month.take(found("B3", Kind.FALLING_TOO_FAST, at_ms=NOON + DAY_MS, explained=True))
    figures = month.figures()
    assert figures.rings == 7
    assert figures.by_priority == {Priority.HIGH: 6, Priority.LOW: 1}
    assert (figures.most_in_ten_minutes, figures.most_in_an_hour) == (3, 5)


def test_an_alarm_that_comes_and_goes_is_named_with_what_to_widen() -> None:
    month = Month()
    for turn in range(6):
        at_ms = NOON + turn * 9 * MINUTE_MS
        month.take(found("B2", Kind.BELOW_WINDOW, at_ms=at_ms))
        month.take(over("B2", Kind.BELOW_WINDOW, at_ms=at_ms + MINUTE_MS))
    figures = month.figures()
    assert figures.chattering[0].most_in_an_hour == 6
    assert figures.fleeting == 6
    assert advice_on(figures)[0] == (
        "B2 temperature below window rang 6 times in an hour: "
        "widen the dead band (deadband_celsius under [judging])?"
    )


def test_a_night_call_that_was_over_before_anybody_acted_is_one_for_nothing() -> None:
    month = Month()
    for day in range(3):
        night = at_ms_of_iso("2026-03-03T01:00:00Z") + day * DAY_MS
        month.take(found(at_ms=night))
        month.take(over(at_ms=night + 20 * MINUTE_MS))
        month.acknowledge(night + 6 * HOUR_MS)
    needed = at_ms_of_iso("2026-03-10T01:00:00Z")
    month.take(found("A2", at_ms=needed))
    month.acknowledge(needed + 4 * MINUTE_MS)
    by_day = at_ms_of_iso("2026-03-11T12:00:00Z")
    month.take(found("A3", at_ms=by_day))
    month.take(over("A3", at_ms=by_day + MINUTE_MS))
    figures = month.figures()
    assert figures.wakes == 4
    assert len(figures.idle_wakes) == 3
    assert any("3 night calls were over before anybody acted" in a for a in advice_on(figures))


def test_a_second_raise_by_day_is_no_night_call_though_the_first_was() -> None:
    month = Month()
    night = at_ms_of_iso("2026-03-03T01:00:00Z")
    for at_ms in (night, night + 10 * HOUR_MS):  # not acknowledged between: the same number
        month.take(found(at_ms=at_ms))
        month.take(over(at_ms=at_ms + HOUR_MS))
    figures = month.figures()
    assert (figures.rings, figures.wakes) == (2, 1)


def test_seeing_it_later_does_not_make_it_last_longer() -> None:
    month = Month()
    month.take(found(at_ms=NOON))
    month.take(over(at_ms=NOON + MINUTE_MS))
    month.acknowledge(NOON + 30 * HOUR_MS)
    figures = month.figures()
    assert (figures.fleeting, figures.stale) == (1, ())


def test_how_fast_high_alarms_were_answered_and_which_never_were() -> None:
    month = Month()
    for place, minutes in enumerate((1, 5, 30)):
        at_ms = NOON + place * DAY_MS
        month.take(found(f"A{place + 1}", at_ms=at_ms))
        month.acknowledge(at_ms + minutes * MINUTE_MS)
    month.take(found("A6", at_ms=NOON + 5 * DAY_MS))
    figures = month.figures()
    assert figures.answer_ms == 5 * MINUTE_MS
    assert figures.slowest_answer_ms == 30 * MINUTE_MS
    assert figures.unanswered == 1
    text = performance_text(figures)
    assert "half within 5 min, the slowest 30 min; never: 1" in text
    assert "A3 temperature falling: heater dead, seen after 30 min" in text
    assert "A6 temperature falling: heater dead, never acknowledged" in text


def test_what_stood_for_more_than_a_day_is_stale_though_it_still_stands() -> None:
    month = Month()
    month.take(found("A1", Kind.PROBE_SILENT, probe="A1-t", at_ms=MONTH[1] - 25 * HOUR_MS))
    month.take(found("A2", Kind.PROBE_SILENT, probe="A2-t", at_ms=MONTH[1] - 23 * HOUR_MS))
    assert [ring.tank for ring in month.figures().stale] == ["A1"]


def test_water_that_stood_wrong_is_to_be_mended_and_never_to_be_left_unwatched() -> None:
    month = Month()
    month.take(found("A1", Kind.PH_CRASH, at_ms=NOON))
    month.take(found("A2", Kind.PROBE_PATCHY, at_ms=NOON))
    month.take(over("A1", Kind.PH_CRASH, at_ms=NOON + 2 * DAY_MS))
    month.take(over("A2", Kind.PROBE_PATCHY, at_ms=NOON + 2 * DAY_MS))
    water, probe = advice_on(month.figures())[:2]
    assert water.startswith("A1 pH crashing stood for 2 d: Stop all dosing")
    assert "out of service" not in water
    assert probe.endswith("stood for 2 d: mend it, or take it out of service until it is.")


def test_a_few_true_calls_are_not_blamed_for_being_few_and_many_are() -> None:
    few, many = Month(), Month()
    for day in range(5):
        few.take(found(f"A{day + 1}", at_ms=NOON + day * DAY_MS))
        few.take(found(f"B{day + 1}", Kind.HEATER_WORKS_HARDER, at_ms=NOON + day * DAY_MS))
    for hour in range(12):
        many.take(found("A1", at_ms=NOON + hour * 3 * HOUR_MS))
        many.take(over("A1", at_ms=NOON + hour * 3 * HOUR_MS + HOUR_MS))
    assert "High: 50% of them, 1.1 a week (aim: 2 a week, or 10% of many)" in performance_text(
        few.figures()
    )
    assert not any("were high" in text for text in advice_on(few.figures()))
    assert any("12 of them A1 temperature falling" in text for text in advice_on(many.figures()))


def test_an_alarm_of_last_month_is_not_counted_in_this_one() -> None:
    month = Month()
    month.take(found(at_ms=MONTH[0] - 1))
    month.take(over(at_ms=MONTH[0] + HOUR_MS))
    assert month.figures().rings == 0


def test_a_repeat_after_an_acknowledgement_is_the_same_ring() -> None:
    rings = [
        AlarmChange(at_ms=NOON, alarm=alarm(), before=alarm().state),
        AlarmChange(at_ms=NOON + 2 * HOUR_MS, alarm=alarm(), before=alarm().state),
    ]
    figures = performance_of(rings, (), from_ms=MONTH[0], to_ms=MONTH[1], zone="UTC")
    assert figures.rings == 1


def test_messages_are_counted_on_the_way_that_got_most() -> None:
    plain = Notice(
        id="x",
        contact="Keeper",
        way="Keeper/phone",
        about=About.RAISED,
        priority=Priority.HIGH,
        alarms=(1,),
        title="t",
        body="b",
        made_ms=NOON,
        due_ms=NOON,
    )
    notices = [plain] * 62 + [replace(plain, way="Keeper/mail")] * 10
    notices += [replace(plain, about=About.WELL)] * 100
    figures = performance_of((), notices, from_ms=NOON, to_ms=NOON + 31 * DAY_MS, zone="UTC")
    assert figures.notices_per_day == 2.0


@settings(deadline=None)  # a busy machine is no failure
@given(st.lists(st.integers(0, 1000)), st.integers(1, 200))
def test_the_busiest_span_is_the_one_a_plain_count_finds(times: list[int], span_ms: int) -> None:
    times.sort()
    plain = max((sum(0 <= t - first < span_ms for t in times) for first in times), default=0)
    assert most_within(times, span_ms) == plain
