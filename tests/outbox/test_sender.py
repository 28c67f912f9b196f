"""The sender: it keeps trying, gives up in time, and no way waits for another."""

import threading
from collections.abc import Callable, Iterator

import pytest
from tests.alarms.boathouse import NOON

from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.outbox.channel import Channel, Picture, Refused, TryLater
from roewatch.outbox.pigeonhole import Pigeonhole
from roewatch.outbox.sender import PERSISTENCE, Sender
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

BOUND_S = 10.0


def notice(
    name: str = "n1",
    *,
    way: str = "Keeper/phone",
    priority: Priority = Priority.HIGH,
    made_ms: int = NOON,
) -> Notice:
    return Notice(
        id=name,
        contact="Keeper",
        way=way,
        about=About.RAISED,
        priority=priority,
        alarms=(1,),
        title="A1 temperature falling: heater dead",
        body="23.1 °C",
        made_ms=made_ms,
        due_ms=made_ms,
    )


class Failing:
    """A channel that fails as told, counting what came."""

    def __init__(self, error: Exception) -> None:
        self.error = error
        self.came: list[Notice] = []

    def send(self, notice: Notice) -> None:
        self.came.append(notice)
        raise self.error


class Hanging:
    """A channel that holds on until it is let go."""

    def __init__(self) -> None:
        self.entered = threading.Event()
        self.free = threading.Event()

    def send(self, notice: Notice) -> None:
        self.entered.set()
        self.free.wait(BOUND_S)


class Desk:
    """A sender, the clock it reads, and the receipts it gave."""

    def __init__(self) -> None:
        self.now_ms = NOON
        self.receipts: list[tuple[Receipt, int | None]] = []
        self.changed = threading.Condition()
        self.sender: Sender | None = None

    def open(
        self,
        wanted: Callable[[Notice], bool] = lambda _: True,
        picture: Callable[[Notice], Picture | None] = lambda _: None,
        **channels: Channel,
    ) -> Sender:
        ways = {f"Keeper/{name}": channel for name, channel in channels.items()}
        self.sender = Sender(
            ways,
            lambda: self.now_ms,
            on_receipt=self.take,
            wanted=wanted,
            chance=lambda: 0.5,
            picture=picture,
        )
        return self.sender

    @property
    def open_sender(self) -> Sender:
        assert self.sender is not None
        return self.sender

    def take(self, receipt: Receipt, next_ms: int | None) -> None:
        with self.changed:
            self.receipts.append((receipt, next_ms))
            self.changed.notify_all()

    def wait_for(self, count: int) -> list[tuple[Receipt, int | None]]:
        with self.changed:
            assert self.changed.wait_for(lambda: len(self.receipts) >= count, BOUND_S)
            return list(self.receipts)


@pytest.fixture
def desk() -> Iterator[Desk]:
    made = Desk()
    yield made
    if made.sender is not None:
        made.sender.stop(1.0)


def test_what_is_taken_is_done_with(desk: Desk) -> None:
    hole = Pigeonhole()
    desk.open(phone=hole).push([(notice(), 0)])
    ((receipt, next_ms),) = desk.wait_for(1)
    assert (receipt.outcome, receipt.attempt, next_ms) == (Outcome.TAKEN, 1, None)
    assert [taken.id for taken in hole.notices] == ["n1"]


def test_what_fails_is_due_again_later_and_later_within_a_bound(desk: Desk) -> None:
    sender = desk.open(phone=Failing(TryLater("no answer within 15 s")))
    waits = []
    for attempts in range(12):
        sender.push([(notice(f"n{attempts}"), attempts)])
        receipt, next_ms = desk.wait_for(attempts + 1)[-1]
        assert (receipt.outcome, receipt.attempt) == (Outcome.TRY_LATER, attempts + 1)
        assert receipt.reason == "no answer within 15 s"
        assert next_ms is not None
        waits.append(next_ms - NOON)
    assert waits[:4] == [2 * SECOND_MS, 4 * SECOND_MS, 8 * SECOND_MS, 16 * SECOND_MS]
    assert waits == sorted(waits)
    assert max(waits) <= 5 * MINUTE_MS


@pytest.mark.parametrize("priority", [Priority.HIGH, Priority.MEDIUM, Priority.LOW])
def test_retries_are_spread_by_a_fifth_and_never_longer_than_promised(priority: Priority) -> None:
    trying = PERSISTENCE[priority]
    for attempt in (1, 2, 5, 50, 5_000):
        early, late = trying.wait_ms(attempt, 0.0), trying.wait_ms(attempt, 1.0)
        assert 0 < early < late <= trying.longest_ms * 1.2
    if priority is Priority.HIGH:
        assert trying.wait_ms(5_000, 1.0) <= 5 * MINUTE_MS


def test_a_high_notice_outlives_six_hours_without_its_receiver() -> None:
    trying = PERSISTENCE[Priority.HIGH]
    at_ms, attempt = 0, 0
    while at_ms < 6 * HOUR_MS:
        attempt += 1
        at_ms += trying.wait_ms(attempt, 0.0)
    assert attempt < trying.attempts
    assert at_ms < trying.age_ms


@pytest.mark.parametrize(
    ("priority", "attempts", "age_ms"),
    [(Priority.LOW, 11, 0), (Priority.HIGH, 999, 0), (Priority.HIGH, 5, DAY_MS)],
)
def test_nothing_is_tried_for_ever(
    desk: Desk, priority: Priority, attempts: int, age_ms: int
) -> None:
    desk.now_ms = NOON + age_ms
    desk.open(phone=Failing(TryLater("busy"))).push([(notice(priority=priority), attempts)])
    ((receipt, next_ms),) = desk.wait_for(1)
    assert (receipt.outcome, next_ms) == (Outcome.GIVEN_UP, None)
    assert receipt.reason == f"given up after {attempts + 1} attempts: busy"


def test_a_refusal_is_final_and_says_why(desk: Desk) -> None:
    desk.open(phone=Failing(Refused("the receiver answered 403"))).push([(notice(), 0)])
    ((receipt, next_ms),) = desk.wait_for(1)
    assert (receipt.outcome, receipt.reason) == (Outcome.REFUSED, "the receiver answered 403")
    assert next_ms is None


def test_a_receiver_that_answers_with_a_page_is_quoted_in_short(desk: Desk) -> None:
    desk.open(phone=Failing(Refused("no " * 5000))).push([(notice(), 0)])
    ((receipt, _),) = desk.wait_for(1)
    assert len(receipt.reason) == 300


def test_a_receiver_that_asks_for_patience_gets_it_within_our_bound(desk: Desk) -> None:
    sender = desk.open(
        phone=Failing(TryLater("429", 60_000)), mail=Failing(TryLater("429", DAY_MS))
    )
    sender.push([(notice("a"), 0), (notice("b", way="Keeper/mail"), 0)])
    due = {receipt.notice: next_ms for receipt, next_ms in desk.wait_for(2)}
    assert due == {"a": NOON + 60_000, "b": NOON + PERSISTENCE[Priority.HIGH].longest_ms}


def test_a_way_that_hangs_delays_no_other(desk: Desk) -> None:
    hanging, hole = Hanging(), Pigeonhole()
    sender = desk.open(phone=hanging, mail=hole)
    sender.push([(notice("stuck"), 0)])
    assert hanging.entered.wait(BOUND_S)
    sender.push([(notice(f"n{i}", way="Keeper/mail"), 0) for i in range(5)])
    assert hole.wait_for(5, BOUND_S)
    hanging.free.set()
    desk.wait_for(6)


def test_a_way_that_is_stuck_is_named_and_no_other(desk: Desk) -> None:
    hanging = Hanging()
    sender = desk.open(phone=hanging, mail=Pigeonhole())
    assert sender.stuck(0.0) == []
    sender.push([(notice(), 0)])
    assert hanging.entered.wait(BOUND_S)
    assert sender.stuck(3600.0) == []
    assert sender.stuck(0.0) == ["Keeper/phone"]
    hanging.free.set()
    desk.wait_for(1)
    assert sender.stuck(0.0) == [], "a way that was used before is not stuck"


def test_receipts_nobody_can_keep_leave_the_way_working(desk: Desk) -> None:
    hole, lost = Pigeonhole(), []

    def refuse(receipt: Receipt, next_ms: int | None) -> None:
        lost.append(receipt)
        raise TimeoutError("the watch loop has ended")

    sender = Sender({"Keeper/phone": hole}, lambda: NOON, on_receipt=refuse)
    sender.push([(notice("a"), 0), (notice("b"), 0)])
    assert hole.wait_for(2, BOUND_S)
    sender.stop(BOUND_S)
    assert [receipt.notice for receipt in lost] == ["a", "b"]


def test_a_notice_in_flight_is_not_sent_twice(desk: Desk) -> None:
    hanging = Hanging()
    sender = desk.open(phone=hanging)
    for _ in range(20):
        sender.push([(notice(), 0)])
    assert hanging.entered.wait(BOUND_S)
    hanging.free.set()
    desk.wait_for(1)
    sender.stop(BOUND_S)
    assert len(desk.receipts) == 1


def test_the_most_urgent_of_a_way_goes_first(desk: Desk) -> None:
    hanging = Hanging()
    sender = desk.open(phone=hanging)
    sender.push([(notice("first"), 0)])
    assert hanging.entered.wait(BOUND_S)
    sender.push(
        [
            (notice("low", priority=Priority.LOW), 0),
            (notice("later", made_ms=NOON + 1), 0),
            (notice("high"), 0),
        ]
    )
    hanging.free.set()
    assert [r.notice for r, _ in desk.wait_for(4)] == ["first", "high", "later", "low"]


def test_what_is_no_longer_wanted_is_not_sent(desk: Desk) -> None:
    hole = Pigeonhole()
    desk.open(wanted=lambda _: False, phone=hole).push([(notice(), 7)])
    ((receipt, next_ms),) = desk.wait_for(1)
    assert (receipt.outcome, next_ms) == (Outcome.GIVEN_UP, None)
    assert hole.notices == []


class Gallery(Pigeonhole):
    """A channel that takes pictures, and may fail at them."""

    def __init__(self, error: Exception | None = None) -> None:
        super().__init__()
        self.order: list[str] = []
        self.error = error
        self.shown = threading.Event()

    def send(self, notice: Notice) -> None:
        super().send(notice)
        self.order.append(f"text {notice.id}")

    def send_picture(self, notice: Notice, picture: Picture) -> None:
        self.order.append(f"picture {notice.id}")
        self.shown.set()
        if self.error is not None:
            raise self.error


@pytest.mark.parametrize("error", [None, TryLater("busy"), Refused("too large")])
def test_the_picture_follows_the_text_once_and_may_fail_freely(
    desk: Desk, error: Exception | None
) -> None:
    gallery = Gallery(error)
    chart = Picture(png=b"png", name="a1.png", words="A1")
    desk.open(phone=gallery, picture=lambda _: chart).push([(notice(), 0)])
    desk.wait_for(1)
    assert gallery.shown.wait(BOUND_S)
    desk.open_sender.stop(BOUND_S)
    assert gallery.order == ["text n1", "picture n1"]
    assert [receipt.outcome for receipt, _ in desk.receipts] == [Outcome.TAKEN]


def test_what_arrives_late_says_so(desk: Desk) -> None:
    hole = Pigeonhole()
    desk.now_ms = NOON + 6 * HOUR_MS
    desk.open(phone=hole).push([(notice(), 90)])
    desk.wait_for(1)
    assert hole.notices[0].body.startswith("Late by 6 h: written 2026-03-02T10:00:00Z")


def test_a_way_taken_out_of_the_settings_is_refused_by_name(desk: Desk) -> None:
    desk.open(phone=Pigeonhole()).push([(notice(way="Keeper/pager"), 0)])
    ((receipt, next_ms),) = desk.wait_for(1)
    assert (receipt.outcome, next_ms) == (Outcome.REFUSED, None)
    assert "Keeper/pager" in receipt.reason


def test_a_fault_in_one_channel_does_not_silence_it_for_what_follows(desk: Desk) -> None:
    broken = Failing(ZeroDivisionError("ours"))
    sender = desk.open(phone=broken)
    sender.push([(notice("a"), 0), (notice("b"), 0)])
    receipts = desk.wait_for(2)
    assert {receipt.outcome for receipt, _ in receipts} == {Outcome.TRY_LATER}
    assert {next_ms for _, next_ms in receipts} == {NOON + MINUTE_MS}
    assert len(broken.came) == 2


def test_stopping_waits_for_no_hanging_receiver(desk: Desk) -> None:
    hanging = Hanging()
    sender = desk.open(phone=hanging)
    sender.push([(notice(), 0)])
    assert hanging.entered.wait(BOUND_S)
    sender.stop(0.05)
    sender.push([(notice("after"), 0)])
    assert desk.receipts == []
    hanging.free.set()
