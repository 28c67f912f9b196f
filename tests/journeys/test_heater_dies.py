"""A heater dies: phone and mailbox hear of it once, while the water is still in its window.

Real broker, real web hook, real mail server; the tanks' time runs fast, the parts do not know.
"""

from email.message import Message
from pathlib import Path

import pytest
from tests.journeys import boathouse as house
from tests.journeys.broker import Broker
from tests.journeys.house import wait_until
from tests.journeys.receivers import MailReceiver, WebhookReceiver

from roewatch.outbox.channel import channel_of
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.service.clock import LedClock
from roewatch.service.daemon import Daemon, fold_of
from roewatch.service.demo import lived, without_notices
from roewatch.service.settings.load import Setup, load_setup
from roewatch.storage.store import Store
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.room import SimRoom

NOW = at_ms_of_iso("2026-11-24T21:00:00Z")  # late evening: no water change is due
SPEED = 300.0
HEATED = "A3"


def two_days_of_history(setup: Setup, tanks: SimRoom) -> None:
    """What the judge has learned from before the fault."""
    probes = {(probe.tank, probe.quantity): probe.id for probe in setup.room.probes}
    store = Store.open(setup.storage.path)
    try:
        fold = fold_of(setup, store, start_ms=tanks.clock_ms)
        entered = 0
        for at_ms in house.past(tanks, NOW):
            samples = list(tanks.run(at_ms))
            deeds, entered = tanks.journal[entered:], len(tanks.journal)
            for kept in lived(fold, samples, deeds, probes, at_ms):
                store.keep(without_notices(kept))
    finally:
        store.close()


@pytest.mark.needs("mosquitto")
@pytest.mark.timeout(240)
def test_phone_and_mailbox_hear_once_that_a_heater_died_before_the_water_is_too_cold(
    tmp_path: Path,
    broker: Broker,
    phone: WebhookReceiver,
    mail: MailReceiver,
    stand_in: WebhookReceiver,
) -> None:
    room = house.settings(tmp_path, broker, phone=phone, mail=mail, stand_in=stand_in)
    setup = load_setup(room, house.overrides(tmp_path, broker))
    tanks = boathouse(3, NOW - 2 * DAY_MS)
    two_days_of_history(setup, tanks)
    fault_ms = NOW + 5 * MINUTE_MS
    tanks.inject(SimFault(kind=FaultKind.HEATER_DEAD, tank=HEATED, at_ms=fault_ms))
    clock = LedClock(NOW, SPEED, MINUTE_MS)
    daemon = Daemon(setup, {way.name: channel_of(way) for way in setup.ways}, clock=clock)
    with house.watching(daemon) as watch, house.LedSpeech(tanks, broker, clock, watch):
        posted = phone.wait_for(1, 120)[0].body
        letter = mail.wait_for(1, 30)[0]
        told_ms = clock.now_ms()
        number = posted["alarms"][0]
        watch.change_alarm(lambda book, at_ms: book.acknowledge(number, "Keeper", at_ms))
        later_ms = told_ms + 30 * MINUTE_MS  # enough for a repeat, were one due
        wait_until(lambda: clock.now_ms() > later_ms, "half an hour has passed", within_s=90)

    raised = [p.body for p in phone.got if p.body["about"] == "raised"]
    assert [body["alarms"] for body in raised] == [[number]]
    # the chart follows in a letter of its own, and may come or not
    assert len([one for one in mail.got if not list(one.iter_attachments())]) == 1
    assert stand_in.got == []
    text = posted["title"] + "\n" + posted["body"]
    for said in (
        HEATED,
        "heater dead",
        "°C",
        "window 25.0-28.0",
        "since ",
        "Check that it is plugged in",
        "Unplug",
    ):
        assert said in text, f"the notice does not say {said!r}: {text}"
    assert _body(letter).replace("\n", " ").count("heater") >= 1
    exit_ms = tanks.exit_ms(HEATED, Quantity.TEMPERATURE, within_ms=12 * HOUR_MS)
    assert exit_ms is not None
    assert fault_ms < told_ms < exit_ms


def _body(letter: Message) -> str:
    part = letter.get_payload(0) if letter.is_multipart() else letter
    assert isinstance(part, Message)
    payload = part.get_payload(decode=True)
    assert isinstance(payload, bytes)
    return payload.decode()
