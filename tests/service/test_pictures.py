"""Pictures: the chart that follows a notice, and what happens when there can be none."""

import threading
from collections.abc import Callable
from dataclasses import replace

import pytest
from tests.journeys.receivers import MailReceiver, closing
from tests.views.room_of_glass import NOW, PAST, GlassRecords, usual

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.outbox.channel import Picture, WaySettings, channel_of
from roewatch.outbox.sender import Sender
from roewatch.room.kind import Priority
from roewatch.room.tank import ROOM
from roewatch.service.pictures import Pictures

NOTICE = Notice(
    id="n1",
    contact="Keeper",
    way="Keeper/mail",
    about=About.RAISED,
    priority=Priority.HIGH,
    alarms=(42,),
    title="B2 pH above window",
    body="pH 7.4",
    made_ms=NOW,
    due_ms=NOW,
)


class Broken(GlassRecords):
    """Records that cannot be read just now."""

    def alarm(self, number: int) -> Alarm | None:
        raise OSError(f"alarm {number}: the disk does not answer")


def pictures(records: GlassRecords) -> Pictures:
    return Pictures(records, lambda: usual()[0].room, lambda: NOW, PAST)


def test_the_first_alarm_that_has_a_chart_is_drawn() -> None:
    records = usual()[0]
    picture = pictures(records).of(replace(NOTICE, alarms=(999, 42)))
    assert picture is not None
    assert picture.png.startswith(b"\x89PNG\r\n")
    assert picture.name == "B2-ph.png"
    assert picture.words.startswith("B2 pH, the last day. Last ")


def test_an_alarm_about_the_room_has_no_chart() -> None:
    records = usual()[0]
    records.replace_alarm(42, tank=ROOM)
    assert pictures(records).of(NOTICE) is None


def test_records_that_cannot_be_read_make_no_picture_and_one_line_in_the_log(
    caplog: pytest.LogCaptureFixture,
) -> None:
    drawer = pictures(Broken(usual()[0].room))
    assert drawer.of(NOTICE) is None
    assert drawer.of(NOTICE) is None
    assert caplog.text.count("no_picture") == 1


def sent(
    receiver: MailReceiver, picture: Callable[[Notice], Picture | None], count: int
) -> list[Receipt]:
    """The receipts of `count` notices handed to a real mail server."""
    receipts: list[Receipt] = []
    told = threading.Condition()

    def heard(receipt: Receipt, _: int | None) -> None:
        with told:
            receipts.append(receipt)
            told.notify_all()

    way = WaySettings(name="Keeper/mail", url=receiver.url)
    sender = Sender({way.name: channel_of(way)}, lambda: NOW, on_receipt=heard, picture=picture)
    try:
        sender.push([(replace(NOTICE, id=f"n{n}"), 0) for n in range(count)])
        with told:
            assert told.wait_for(lambda: len(receipts) == count, 20)
    finally:
        sender.stop(10)
    return receipts


def test_without_a_picture_the_texts_go_as_ever() -> None:
    with closing(MailReceiver) as receiver:
        receipts = sent(receiver, pictures(Broken(usual()[0].room)).of, 2)
        assert [receipt.outcome for receipt in receipts] == [Outcome.TAKEN, Outcome.TAKEN]
        assert [mail.is_multipart() for mail in receiver.got] == [False, False]
