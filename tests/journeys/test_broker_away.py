"""The broker goes away and comes back: one room alarm that closes, and no reading lost."""

from pathlib import Path

import pytest
from tests.journeys import boathouse as house
from tests.journeys.broker import Broker
from tests.journeys.house import wait_until
from tests.journeys.receivers import MailReceiver, WebhookReceiver

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.outbox.channel import channel_of
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS, at_ms_of_iso
from roewatch.room.tank import ROOM
from roewatch.service.daemon import Daemon
from roewatch.service.settings.load import load_setup
from roewatch_sim.boathouse import boathouse

NOW = at_ms_of_iso("2026-11-24T21:00:00Z")
SPEED = 60.0
AWAY_MIN = 5


@pytest.mark.needs("mosquitto")
def test_a_broker_away_for_five_minutes_is_one_room_alarm_and_no_lost_reading(
    tmp_path: Path,
    broker: Broker,
    phone: WebhookReceiver,
    mail: MailReceiver,
    stand_in: WebhookReceiver,
) -> None:
    room = house.settings(tmp_path, broker, phone=phone, mail=mail, stand_in=stand_in)
    setup = load_setup(room, house.overrides(tmp_path, broker))
    tanks = boathouse(5, NOW)
    clock = house.FastClock(NOW, SPEED)
    heard: list[AlarmChange] = []
    daemon = Daemon(
        setup, {w.name: channel_of(w) for w in setup.ways}, clock=clock, heard=heard.append
    )

    def room_alarm(state: State) -> bool:
        return any(c.alarm.kind is Kind.ROOM_SILENT and c.alarm.state is state for c in heard)

    with house.watching(daemon) as watch:
        with house.Speech(tanks, broker, clock) as speech:
            wait_until(lambda: clock.now_ms() > NOW + 6 * MINUTE_MS, "six minutes have passed")
            broker.stop()
            gone_ms = clock.now_ms()
            back_ms = gone_ms + AWAY_MIN * MINUTE_MS
            wait_until(lambda: clock.now_ms() > back_ms, "the outage is over")
            broker.start()
            wait_until(lambda: room_alarm(State.RETURNED), "the room alarm closes", within_s=60)
        wait_until(lambda: watch.counts.kept >= speech.published, "all that was said is kept")
        assert watch.counts.kept == speech.published

    silent = {Kind.ROOM_SILENT, Kind.TANK_SILENT, Kind.PROBE_SILENT, Kind.POWER_CUT}
    raised = {c.alarm.number: c.alarm for c in heard if c.alarm.kind in silent}
    assert [(alarm.kind, alarm.tank) for alarm in raised.values()] == [(Kind.ROOM_SILENT, ROOM)]
    told = [posted.body["about"] for posted in phone.got]
    assert told.count("raised") <= 1
