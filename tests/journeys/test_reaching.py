"""Reaching: the link in a notice acknowledges, and a chart follows the text.

Real broker, `roewatch watch` as its own process, real web hooks, a real mail server.
"""

import stat
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.journeys.broker import Broker, Publisher
from tests.journeys.house import House, message, now_ms, wait_until
from tests.journeys.receivers import MailReceiver, WebhookReceiver

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.token import make_token
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.service.access import key_file
from roewatch.storage.reader import Records

pytestmark = [pytest.mark.needs("mosquitto"), pytest.mark.timeout(120)]

TELLING = """high_wait = "0.001 s"
start_hold = "0.001 s"
escalate_after = "1 s"
well_at = "never"
digest_at = "never"
"""
PLAIN = 'settle = "0.001 s"\non_delay = "0.001 s"\n'
EVERY_MS = 10_000


def asked(address: str, method: str) -> tuple[int, str]:
    """The status and the page of one request; 0 when nobody listens."""
    request = urllib.request.Request(address, method=method, data=b"" if method == "POST" else None)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode()
    except urllib.error.URLError:  # nobody listens there yet
        return 0, ""


class Reached:
    """A house with fry in a tank that has grown too warm, and the people who hear of it."""

    def __init__(
        self, house: House, phone: WebhookReceiver, mail: MailReceiver, second: WebhookReceiver
    ) -> None:
        self.house, self.phone, self.mail, self.second = house, phone, mail, second

    def warm_up(self, broker: Broker) -> None:
        """The readings of the last half hour, the last minutes of them too warm for fry."""
        begin_ms = now_ms() - 30 * MINUTE_MS
        messages = [
            message(at_ms, (33.0 if at_ms > begin_ms + 20 * MINUTE_MS else 26.0) + n % 5 * 0.0625)
            for n, at_ms in enumerate(range(begin_ms, begin_ms + 30 * MINUTE_MS, EVERY_MS))
        ]
        with Publisher(broker) as probe:
            probe.publish("house/a1/temperature", *messages)

    def link(self) -> str:
        """The link in the first message to the Keeper's phone that acknowledges."""

        def found() -> list[str]:
            links = [posted.body["link"] for posted in list(self.phone.got)]
            return [link for link in links if "/acknowledge/" in link]

        wait_until(lambda: bool(found()), "a notice with a link came")
        return found()[0]

    def alarm(self, number: int) -> Alarm:
        """As the store has it now."""
        records = Records(self.house.store)
        try:
            alarm = records.alarm(number)
        finally:
            records.close()
        assert alarm is not None
        return alarm


@pytest.fixture
def reached(
    tmp_path: Path,
    broker: Broker,
    phone: WebhookReceiver,
    mail: MailReceiver,
    stand_in: WebhookReceiver,
) -> Iterator[Reached]:
    house = House(
        tmp_path / "house",
        broker,
        ways=[
            ("Keeper", "phone", phone.url),
            ("Keeper", "mail", mail.url),
            ("Stand-in", "phone", stand_in.url),
        ],
        every="10 s",
        stage="fry",
        judging=PLAIN,
        telling=TELLING,
    )
    house.start()
    wait_until(lambda: "broker_connected" in house.log, "the daemon is connected")
    pages = f"http://127.0.0.1:{house.page_port}/healthz"
    wait_until(lambda: asked(pages, "GET")[0] == 200, "the pages are served")
    try:
        made = Reached(house, phone, mail, stand_in)
        made.warm_up(broker)
        yield made
    finally:
        house.stop()


def test_the_link_in_a_notice_acknowledges_once_by_its_button_and_the_others_hear_who_has_it(
    reached: Reached,
) -> None:
    link = reached.link()
    raised = next(p.body for p in reached.phone.got if p.body["link"] == link)
    (number,) = raised["alarms"]
    reached.second.wait_for(1, 30)  # nobody answered at once: the second person was asked

    for _ in range(2):  # a program that draws previews, and a person who looks
        status, page = asked(link, "GET")
        assert status == 200
        assert "Acknowledge as Keeper" in page
        assert reached.alarm(number).state is State.UNACKNOWLEDGED

    status, page = asked(link, "POST")
    assert status == 200
    assert "Acknowledged as Keeper" in page
    kept = reached.alarm(number)
    assert (kept.state, kept.acknowledged_by) == (State.ACKNOWLEDGED, "Keeper")

    for method in ("POST", "GET"):
        status, page = asked(link, method)
        assert status == 410
        assert "acknowledged already: Keeper has it" in page

    def who_has_it() -> list[str]:
        posted = list(reached.second.got)
        return [p.body["title"] for p in posted if p.body["about"] == "taken-on"]

    wait_until(lambda: bool(who_has_it()), "the other person hears who has it")
    assert "Keeper" in who_has_it()[0]


def test_a_link_that_is_too_old_says_so_and_the_key_outlives_the_daemon(reached: Reached) -> None:
    link = reached.link()
    number = next(p.body for p in reached.phone.got if p.body["link"] == link)["alarms"][0]
    file = key_file(reached.house.store)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    key = bytes.fromhex(file.read_text(encoding="ascii"))
    before = now_ms() - 2 * DAY_MS
    old = make_token(key, reached.alarm(number), by="Keeper", issued_ms=before, lives_ms=DAY_MS)
    base, _, _ = link.rpartition("/")
    for method in ("GET", "POST"):
        status, page = asked(f"{base}/{old}", method)
        assert status == 410
        assert "This link has expired" in page
    assert reached.alarm(number).state is State.UNACKNOWLEDGED

    reached.house.stop()
    reached.house.start()
    wait_until(lambda: asked(link, "GET")[0] == 200, "the pages are back and know the link")
    assert key.hex() not in reached.house.log


def test_the_text_comes_first_and_alone_and_its_chart_follows_in_the_same_thread(
    reached: Reached,
) -> None:
    text, chart = reached.mail.wait_for(2, 60)[:2]
    assert not text.is_multipart()
    assert "A1" in text["Subject"]
    assert "/acknowledge/" in text.get_content()
    (picture,) = chart.iter_attachments()
    assert chart["In-Reply-To"] == text["Message-ID"]
    assert chart["References"] == text["References"]
    assert picture.get_content_type() == "image/png"
    assert picture.get_content().startswith(b"\x89PNG\r\n")
    assert picture.get_filename() == "A1-temperature.png"
    words = chart.get_body().get_content()
    assert "A1 temperature" in words
    assert "highest 33" in words
