"""Bad receivers: what each contact gets, and when, with a store, a sender and real servers."""

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.alarms.boathouse import KEEPER, NOON, STAND_IN, TANKS, boathouse, found, over, power_cut
from tests.journeys.office import Killed, Office, outcomes
from tests.journeys.receivers import MailReceiver, Mode, WebhookReceiver

from roewatch.alarms.notice import About, Outcome
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.outbox.channel import Channel, WaySettings, channel_of
from roewatch.room.moment import HOUR_MS, MINUTE_MS, SECOND_MS

SHORT_S = 0.2  # for a phone that hangs on purpose
PATIENT_S = 10.0  # for everybody else, so that a busy machine is not taken for a bad receiver
PLAIN = TellingSettings(well_at_min=None, digest_at_min=None, start_hold_ms=0)


class Reach:
    """The Boathouse's people behind real servers: the Keeper's phone and mail, the Stand-in's."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.phone = WebhookReceiver()
        self.mail = MailReceiver()
        self.second = WebhookReceiver()
        self.now_ms = NOON
        self.office: Office | None = None

    def open(self, kill_at: str = "", *, phone_s: float = PATIENT_S) -> Office:
        """The program starts, or starts again."""
        channels: dict[str, Channel] = {
            "Keeper/phone": self._way(self.phone.url, phone_s),
            "Keeper/mail": self._way(self.mail.url),
            "Stand-in/phone": self._way(self.second.url),
        }
        self.office = Office(
            self.path,
            boathouse(),
            (KEEPER, STAND_IN),
            channels,
            now_ms=self.now_ms,
            settings=PLAIN,
            kill_at=kill_at,
        )
        return self.office

    @staticmethod
    def _way(url: str, timeout_s: float = PATIENT_S) -> Channel:
        return channel_of(WaySettings(name="x", url=url, timeout_s=timeout_s))

    def close(self) -> None:
        if self.office is not None:
            self.office.close()
        for receiver in (self.phone, self.mail, self.second):
            receiver.close()


@pytest.fixture
def reach(tmp_path: Path) -> Iterator[Reach]:
    made = Reach(tmp_path / "store.sqlite")
    yield made
    made.close()


def abouts(receiver: WebhookReceiver) -> list[str]:
    return [posted.body["about"] for posted in receiver.shown]


def test_good_receivers_get_one_raise_and_one_closing_each(reach: Reach) -> None:
    office = reach.open()
    office.take(found())
    office.wait(2 * MINUTE_MS)
    office.acknowledge(1, "Keeper")
    office.wait(HOUR_MS, 5 * MINUTE_MS)
    office.take(over(at_ms=office.now_ms))
    office.wait(HOUR_MS, 5 * MINUTE_MS)
    assert abouts(reach.phone) == ["raised", "returned"]
    assert [mail["Subject"] for mail in reach.mail.got] == [
        "A1 temperature falling: heater dead",
        "A1 over: temperature falling: heater dead",
    ]
    assert reach.mail.got[0]["References"] == reach.mail.got[1]["References"]
    assert reach.second.got == []
    assert set(outcomes(office.receipts)) == {Outcome.TAKEN}


def test_a_phone_that_refuses_leaves_the_mail_and_says_why(reach: Reach) -> None:
    reach.phone.mode = Mode.REFUSE
    office = reach.open()
    office.take(found())
    office.wait(9 * MINUTE_MS)
    assert len(reach.phone.got) == 1
    assert len(reach.mail.got) == 1
    refused = [r for r in office.receipts if r.outcome is Outcome.REFUSED]
    assert refused[0].reason == "the receiver answered 403: check address and token"
    assert reach.second.got == []


def test_when_all_of_the_first_persons_ways_refuse_the_second_hears_within_a_minute(
    reach: Reach,
) -> None:
    reach.phone.mode = reach.mail.mode = Mode.REFUSE
    office = reach.open()
    office.take(found())
    office.wait(MINUTE_MS, 5 * SECOND_MS)
    assert abouts(reach.second) == ["escalated"]


def test_a_phone_that_hangs_delays_no_other_way_and_shows_one_message(reach: Reach) -> None:
    reach.phone.mode = Mode.HANG
    office = reach.open(phone_s=SHORT_S)
    office.take(found())
    office.wait(30 * SECOND_MS, 5 * SECOND_MS)
    assert len(reach.mail.got) == 1
    reach.phone.mode = Mode.ACCEPT
    office.wait(MINUTE_MS, 5 * SECOND_MS)
    # it had taken the message each time it hung: the key lets it show one
    assert len(reach.phone.got) > 1
    assert len(reach.phone.shown) == 1


def test_a_phone_that_takes_and_hangs_up_gets_repeats_it_can_tell(reach: Reach) -> None:
    reach.phone.mode = Mode.DROP
    office = reach.open()
    office.take(found())
    office.wait(MINUTE_MS, 5 * SECOND_MS)
    reach.phone.mode = Mode.ACCEPT
    office.wait(5 * MINUTE_MS)
    assert len(set(reach.phone.keys)) == 1
    assert len(reach.phone.got) > 2
    assert "hung up before it answered" in office.receipts[0].reason


def test_a_busy_phone_is_left_alone_for_as_long_as_it_asks(reach: Reach) -> None:
    reach.phone.mode, reach.phone.retry_after = Mode.BUSY, "120"
    office = reach.open()
    office.take(found())
    office.wait(MINUTE_MS, 5 * SECOND_MS)
    assert len(reach.phone.got) == 1
    reach.phone.mode = Mode.ACCEPT
    office.wait(2 * MINUTE_MS, 5 * SECOND_MS)
    assert len(reach.phone.got) == 2
    assert len(reach.phone.shown) == 1


def test_a_phone_away_for_six_hours_gets_the_news_late_and_says_so(reach: Reach) -> None:
    reach.phone.down()
    reach.mail.mode = Mode.BUSY
    office = reach.open()
    office.take(found())
    office.wait(6 * HOUR_MS, 2 * MINUTE_MS)
    asked = [posted for posted in reach.second.got if posted.body["about"] == "escalated"]
    assert len(asked) == 1
    began = office.notices[0].made_ms
    second = [notice for notice in office.notices if notice.contact == "Stand-in"]
    # its ways failed for five minutes, so the second person was asked before the ten were up
    assert second[0].made_ms - began <= 8 * MINUTE_MS
    tries = Counter(r.notice for r in office.receipts)
    assert max(tries.values()) < 150  # bounded: every four minutes at most, not a storm
    reach.phone.up()
    office.wait(6 * MINUTE_MS, MINUTE_MS)
    (arrived,) = reach.phone.got  # the raise, and no heap of reminders behind it
    first = arrived.body
    assert first["about"] == "raised"
    assert first["title"] == "A1 temperature falling: heater dead"
    assert first["body"].startswith("Late by 6 h")
    office.take(over(at_ms=office.now_ms))
    office.wait(15 * MINUTE_MS, MINUTE_MS)
    assert abouts(reach.phone)[-1] == "returned"


def test_alarms_that_gather_behind_a_phone_that_is_away_follow_as_one_message(
    reach: Reach,
) -> None:
    reach.phone.down()
    office = reach.open()
    for tank in TANKS:
        office.take(found(tank, at_ms=office.now_ms))
        office.wait(12 * MINUTE_MS, 2 * MINUTE_MS)
    reach.phone.up()
    office.wait(6 * MINUTE_MS, MINUTE_MS)
    first, rest = reach.phone.got
    assert first.body["alarms"] == [1]
    assert sorted(rest.body["alarms"]) == list(range(2, 13))


def test_what_was_over_before_the_phone_came_back_is_told_once_as_over(reach: Reach) -> None:
    reach.phone.down()
    office = reach.open()
    office.take(found())
    office.wait(HOUR_MS, MINUTE_MS)
    office.take(over(at_ms=office.now_ms))
    office.wait(HOUR_MS, MINUTE_MS)
    reach.phone.up()
    office.wait(10 * MINUTE_MS, MINUTE_MS)
    assert abouts(reach.phone) == ["returned"]
    assert "it lasted 1 h" in reach.phone.got[0].body["body"]


def test_a_power_cut_in_all_tanks_is_one_message_for_each_way(reach: Reach) -> None:
    office = reach.open()
    for tank in TANKS:
        office.take(found(tank, at_ms=office.now_ms))
    office.take(power_cut(office.now_ms))
    office.wait(5 * MINUTE_MS, 5 * SECOND_MS)
    assert len(reach.phone.got) == len(reach.mail.got) == 1
    assert reach.phone.got[0].body["title"].startswith("The Boathouse: power cut")


KILLS = int(os.environ.get("ROEWATCH_KILLS", "12"))  # at each step; 50 make two hundred
STEPS = ["made, not kept", "kept, not pushed", "sent, no receipt kept", "receipt kept"]


@pytest.mark.parametrize("step", STEPS)
def test_killed_between_store_and_receipt_no_notice_is_lost_and_one_is_repeated_at_most(
    reach: Reach, step: str
) -> None:
    kills = KILLS
    for turn in range(kills):
        tank = TANKS[turn % 12]
        office = reach.open(kill_at=step)
        began = len(reach.phone.got)
        office.now_ms = reach.now_ms
        try:
            happened(office, tank)
        except Killed:
            reach.now_ms = office.now_ms
            office.close()
            office = reach.open()
            # judging reads again what was kept after its last saved state, and finds it again
            happened(office, tank)
        new = reach.phone.got[began:]
        keys = Counter(posted.key for posted in new)
        assert [posted.body["about"] for posted in new[:1]] == ["raised"]
        assert len(keys) == 1
        assert sum(keys.values()) <= 2
        if step != "sent, no receipt kept":
            assert sum(keys.values()) == 1
        for alarm in office.book.open():
            office.acknowledge(alarm.number, "Keeper")
        office.take(over(tank, at_ms=office.now_ms))
        office.wait(30 * MINUTE_MS, 10 * MINUTE_MS)
        reach.now_ms = office.now_ms
        office.close()
    told = Counter(posted.body["about"] for posted in reach.phone.shown)
    assert told == {About.RAISED.value: kills, About.RETURNED.value: kills}


def happened(office: Office, tank: str) -> None:
    office.take(found(tank, at_ms=office.now_ms))
    office.wait(20 * SECOND_MS, 5 * SECOND_MS)
