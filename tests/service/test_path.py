"""A test through the whole path: from a synthetic reading to the receipt, and nothing more."""

import threading
from pathlib import Path

import pytest
from tests.service.by_hand import House, house

from roewatch.alarms.notice import About, Outcome
from roewatch.room.kind import Kind
from roewatch.service.path_test import PathTest


def gone_through(at: House) -> PathTest:
    found: list[PathTest] = []
    raised = at.from_elsewhere(lambda: found.append(at.watch.test_path(5)))
    if raised is not None:
        raise raised
    return found[0]


def test_it_goes_by_the_broker_and_comes_out_at_the_phone(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.loops_back = True
        test = gone_through(at)
        assert at.ear.published[0][0] == "roewatch/boathouse/test"
        at.rounds_until(lambda: at.watch.counts.receipts == 1, "the receipt is kept")
        receipts = test.wait_receipts(5)
        assert [receipts[n.id].outcome for n in test.notices] == [Outcome.TAKEN]
        (notice,) = at.phone.got
        assert notice.about is About.TEST
        assert "nothing is wrong" in notice.title


def test_it_leaves_no_alarm_open_and_never_asks_again(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.loops_back = True
        gone_through(at)
        assert at.open_alarms() == []
        at.ear.loops_back = False
        at.lives(60)
        assert [n.about for n in at.phone.got] == [About.TEST]
        assert {c.alarm.kind for c in at.heard} == {Kind.TEST}


def test_a_second_test_is_a_second_message(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.loops_back = True
        first, second = gone_through(at), gone_through(at)
        at.rounds_until(lambda: len(at.phone.got) == 2, "both came")
        assert first.notices[0].id != second.notices[0].id


def test_a_real_alarm_goes_its_own_way_meanwhile(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.loops_back = True
        at.lives(12, celsius=31.0)
        gone_through(at)
        at.rounds_until(lambda: len(at.phone.got) == 2, "both came")
        assert sorted(n.about for n in at.phone.got) == [About.RAISED, About.TEST]
        assert [a.kind for a in at.open_alarms()] == [Kind.ABOVE_WINDOW]


def test_a_stranger_cannot_set_off_a_test(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.says("roewatch/boathouse/test", b"0123456789abcdef")
        at.round()
        at.lives(2)
        assert at.phone.got == []
        assert len(at.ear.acknowledged) == 3


def test_a_broker_that_gives_nothing_back_is_said_so(tmp_path: Path) -> None:
    with house(tmp_path) as at, pytest.raises(TimeoutError, match="roewatch/boathouse/test"):
        at.watch.test_path(0.05)


def test_a_phone_that_refuses_is_what_the_test_shows(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        at.ear.loops_back = True
        at.phone.down = True
        test = gone_through(at)
        at.rounds_until(lambda: at.watch.counts.receipts == 1, "the failure is kept")
        waiting: list[object] = []
        thread = threading.Thread(target=lambda: waiting.append(test.wait_receipts(0.05)))
        thread.start()
        thread.join(5)
        (receipts,) = waiting
        assert receipts[test.notices[0].id].outcome is Outcome.TRY_LATER  # type: ignore[index]
