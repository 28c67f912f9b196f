"""The life cycle under anything that may happen, in any order: ISA-18.2's rules as invariants.

A model beside the book knows only what is true of the water, who silenced what and until when;
the standard's rules are checked against it after every step. The teller listens to every step,
and its promises are checked too: one closing for each raise, few messages, none told twice.
Steps may be lost and done again, as after a kill, and everything may be put back from what
was kept, as after a restart.
"""

import os
from collections import defaultdict
from dataclasses import dataclass

from hypothesis import HealthCheck, event, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from tests.alarms.boathouse import KEEPER, NOON, STAND_IN, boathouse, found

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.book import AlarmBook, NotNow
from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.alarms.post import RAISING
from roewatch.alarms.suppression import STANDS_FOR
from roewatch.alarms.telling import Teller
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM

QUIET = {State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE}
DAILY = {About.WELL, About.DIGEST}
CLOSING = {About.RETURNED, About.DIGEST}
STEPS = [SECOND_MS, 20 * SECOND_MS, 3 * MINUTE_MS, 11 * MINUTE_MS, 50 * MINUTE_MS]
CONDITIONS = [
    ("A1", Kind.HEATER_DEAD),
    ("A2", Kind.BELOW_WINDOW),  # eggs: latches
    ("A2", Kind.HEATER_DEAD),
    ("B1", Kind.PROBE_SILENT),
    ("B1", Kind.TANK_SILENT),
    ("B2", Kind.HEATER_WORKS_HARDER),
    (ROOM, Kind.POWER_CUT),
    (ROOM, Kind.ROOM_SILENT),
]
condition = st.sampled_from(CONDITIONS)


@dataclass
class Truth:
    """What is so, whatever the alarms say."""

    holds: bool = False
    explained: bool = False


class LifeCycle(RuleBasedStateMachine):
    """One room, a handful of conditions, two contacts."""

    def __init__(self) -> None:
        super().__init__()
        self.room = boathouse({"A2": Stage.EGGS})
        self.contacts = (KEEPER, STAND_IN)
        self.settings = TellingSettings()
        self.now_ms = NOON
        self.book = AlarmBook(self.room)
        self.teller = Teller(self.room, self.contacts, settings=self.settings)
        self.truth: dict[tuple[str, Kind], Truth] = defaultdict(Truth)
        self.changes: list[AlarmChange] = []
        self.notices: list[Notice] = []
        self.on_the_way: list[Notice] = []
        self.last_number = 0
        self.say(self.teller.advance(self.now_ms))

    # -- what happens -----------------------------------------------------------------------

    @rule(what=condition, explained=st.booleans())
    def begins(self, what: tuple[str, Kind], explained: bool) -> None:
        explained = explained and what[1] not in STANDS_FOR
        self.truth[what] = Truth(holds=True, explained=explained)
        self.step(self.book.take(self.finding(what, present=True)))

    @rule(what=condition)
    def ends(self, what: tuple[str, Kind]) -> None:
        self.truth[what] = Truth()
        self.step(self.book.take(self.finding(what, present=False)))

    @rule(span_ms=st.sampled_from(STEPS))
    def time_passes(self, span_ms: int) -> None:
        self.now_ms += span_ms
        self.step(self.book.advance(self.now_ms))
        self.say(self.teller.advance(self.now_ms))

    @precondition(lambda self: self.book.open())
    @rule(data=st.data())
    def somebody_acknowledges(self, data: st.DataObject) -> None:
        alarm = self.any_open(data)
        if alarm.state in QUIET:
            return
        self.step(self.book.acknowledge(alarm.number, "Keeper", self.now_ms))
        after = {a.number: a for a in self.book.open()}.get(alarm.number)
        assert after is None or after.state is State.ACKNOWLEDGED
        assert (after is None) == (not alarm.present and not alarm.latched)

    @precondition(lambda self: self.book.open())
    @rule(data=st.data(), hours=st.integers(1, 24))
    def somebody_shelves(self, data: st.DataObject, hours: int) -> None:
        alarm = self.any_open(data)
        if alarm.state is State.OUT_OF_SERVICE:
            return
        until_ms = self.now_ms + hours * HOUR_MS
        self.step(self.book.shelve(alarm.number, until_ms, "why", "Keeper", self.now_ms))

    @precondition(lambda self: self.book.open())
    @rule(data=st.data())
    def somebody_ends_a_silence(self, data: st.DataObject) -> None:
        alarm = self.any_open(data)
        if alarm.state is State.SHELVED:
            self.step(self.book.unshelve(alarm.number, "Keeper", self.now_ms))
        elif alarm.state is State.OUT_OF_SERVICE:
            self.step(self.book.return_to_service(alarm.number, "Keeper", self.now_ms))
        else:
            return
        self.left_silence(alarm)

    @precondition(lambda self: self.book.open())
    @rule(data=st.data())
    def somebody_takes_it_out_of_service(self, data: st.DataObject) -> None:
        alarm = self.any_open(data)
        if alarm.state is not State.OUT_OF_SERVICE:
            self.step(self.book.out_of_service(alarm.number, "why", "Keeper", self.now_ms))

    @precondition(lambda self: self.book.open())
    @rule(data=st.data())
    def somebody_resets(self, data: st.DataObject) -> None:
        alarm = self.any_open(data)
        allowed = alarm.latched and not alarm.present and alarm.state not in QUIET
        try:
            self.step(self.book.reset(alarm.number, "Keeper", self.now_ms))
        except NotNow:
            assert not allowed
        else:
            assert allowed

    @rule()
    def the_daemon_restarts(self) -> None:
        episodes: dict[str, int] = {}
        for change in self.changes:
            episodes[change.alarm.key] = change.alarm.episode
        open_before, state = self.book.open(), self.teller.state()
        self.book = AlarmBook(
            self.room, open_before, next_number=self.last_number + 1, episodes=episodes
        )
        self.teller = Teller(self.room, self.contacts, state=state, settings=self.settings)
        assert self.book.open() == open_before
        assert self.teller.state() == state
        event("restarted with alarms open" if open_before else "restarted with none")

    @precondition(lambda self: self.on_the_way)
    @rule(data=st.data(), outcome=st.sampled_from(Outcome))
    def a_receipt_arrives(self, data: st.DataObject, outcome: Outcome) -> None:
        self.heard(data.draw(st.sampled_from(self.on_the_way)), outcome)

    def heard(self, notice: Notice, outcome: Outcome) -> None:
        receipt = Receipt(notice=notice.id, at_ms=self.now_ms, outcome=outcome)
        if outcome is not Outcome.TRY_LATER:
            self.on_the_way.remove(notice)
        self.say(self.teller.hear(receipt, self.now_ms))

    # -- the standard's rules ---------------------------------------------------------------

    @invariant()
    def one_record_for_each_condition(self) -> None:
        keys = [alarm.key for alarm in self.book.open()]
        assert len(keys) == len(set(keys))

    @invariant()
    def what_holds_is_listed_and_what_is_listed_as_holding_holds(self) -> None:
        listed = {(a.tank, a.kind): a for a in self.book.open()}
        for what, truth in self.truth.items():
            alarm = listed.get(what)
            assert (alarm is not None and alarm.present) == truth.holds

    @invariant()
    def every_state_says_what_the_standard_says(self) -> None:
        for alarm in self.book.open():
            assert alarm.state is not State.NORMAL
            if alarm.state is State.UNACKNOWLEDGED:
                assert alarm.present
                assert alarm.acknowledged_ms is None
                assert alarm.priority is not Priority.JOURNAL
            if alarm.state is State.RETURNED:
                assert not alarm.present
            if alarm.state is State.ACKNOWLEDGED:
                assert alarm.present or alarm.latched
            if alarm.state is State.SHELVED:
                assert alarm.shelved_until_ms is not None
                assert alarm.shelved_until_ms <= self.now_ms + 24 * HOUR_MS
            if alarm.state is State.SUPPRESSED:
                assert alarm.suppressed_by or alarm.release_ms is not None
            assert alarm.raised_ms <= self.now_ms

    @invariant()
    def what_is_suppressed_has_somebody_who_speaks_for_it(self) -> None:
        listed = {alarm.key: alarm for alarm in self.book.open()}
        for alarm in listed.values():
            if alarm.state is State.SUPPRESSED and alarm.release_ms is None:
                parent = listed[alarm.suppressed_by]
                assert parent.present
                assert parent.state is not State.OUT_OF_SERVICE

    @invariant()
    def nothing_explained_rings(self) -> None:
        for alarm in self.book.open():
            if self.truth[(alarm.tank, alarm.kind)].explained and alarm.state not in QUIET:
                assert alarm.state is State.ACKNOWLEDGED

    # -- the teller's promises --------------------------------------------------------------

    @invariant()
    def no_two_notices_share_an_identity(self) -> None:
        assert len({notice.id for notice in self.notices}) == len(self.notices)

    @invariant()
    def never_more_than_three_in_ten_minutes(self) -> None:
        by_way: dict[str, list[int]] = defaultdict(list)
        for notice in self.notices:
            if notice.about not in DAILY:  # its hour is its own
                by_way[notice.way].append(notice.made_ms)
        for times in by_way.values():
            for first, fourth in zip(times, times[3:], strict=False):
                assert fourth - first >= self.settings.window_ms

    @invariant()
    def a_closing_follows_a_raise_and_only_one(self) -> None:
        known: dict[tuple[str, int], bool] = {}
        for notice in self.notices:
            for number in notice.alarms:
                knows = known.get((notice.way, number), False)
                if notice.about in RAISING:
                    known[notice.way, number] = True
                elif notice.about in CLOSING:
                    assert knows
                    known[notice.way, number] = False

    def teardown(self) -> None:
        """When all has ended and time has passed, nobody is left with an alarm half told."""
        for what in CONDITIONS:
            self.ends(what)
        # more than a day, for the daily message closes what was not urgent
        for step_ms in (*[11 * MINUTE_MS] * 8, *[50 * MINUTE_MS] * 30):
            for notice in list(self.on_the_way):
                self.heard(notice, Outcome.TAKEN)
            self.time_passes(step_ms)
        known: set[tuple[str, int]] = set()
        for notice in self.notices:
            for number in notice.alarms:
                if notice.about in RAISING:
                    known.add((notice.way, number))
                elif notice.about in CLOSING:
                    known.discard((notice.way, number))
        assert known == set()
        assert not any(alarm.present for alarm in self.book.open())
        self.a_closing_follows_a_raise_and_only_one()
        self.never_more_than_three_in_ten_minutes()

    # -- how a step is made -----------------------------------------------------------------

    def step(self, changes: list[AlarmChange]) -> None:
        for change in changes:
            assert change.alarm.state is not change.before or change.alarm in self.book.open()
            if change.before is State.NORMAL:
                assert change.alarm.number > self.last_number
                self.last_number = change.alarm.number
        self.changes += changes
        # the step is lost before its transaction, as by a kill, and done again from what was kept
        kept = self.teller.state()
        lost = Teller(self.room, self.contacts, state=kept, settings=self.settings)
        lost.advance(self.now_ms)
        before = len(self.notices)
        self.say(self.teller.take(changes, self.now_ms))
        again = lost.take(changes, self.now_ms)
        first = [notice.id for notice in self.notices[before:]]
        # started anew it may hold more back, but what it says is the same message
        assert [notice.id for notice in again] == first[: len(again)] or not first

    def say(self, notices: list[Notice]) -> None:
        self.notices += notices
        self.on_the_way += notices

    def finding(self, what: tuple[str, Kind], *, present: bool) -> Finding:
        tank, kind = what
        return found(
            tank,
            kind,
            at_ms=self.now_ms,
            quantity=None,
            present=present,
            explained=self.truth[what].explained,
            children=("A1", "A2") if kind is Kind.POWER_CUT else (),
        )

    def any_open(self, data: st.DataObject) -> Alarm:
        return data.draw(st.sampled_from(self.book.open()))

    def left_silence(self, before: Alarm) -> None:
        """The rule the standard insists on: a silence that ends while it holds rings again."""
        after = {alarm.number: alarm for alarm in self.book.open()}.get(before.number)
        if before.present:
            assert after is not None
            journal = after.priority is Priority.JOURNAL
            assert after.state in {
                State.ACKNOWLEDGED if journal else State.UNACKNOWLEDGED,
                State.SUPPRESSED,
            }


SEQUENCES = int(os.environ.get("ROEWATCH_SEQUENCES", "150"))

LifeCycle.TestCase.settings = settings(
    max_examples=SEQUENCES,
    stateful_step_count=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
TestLifeCycle = LifeCycle.TestCase
