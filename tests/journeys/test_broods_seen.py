"""The pages of broods as a real browser shows them, and as the accessibility rules see them."""

import base64
import re
from collections.abc import Iterator
from contextlib import contextmanager

import pypdfium2
import pytest
from tests.journeys.browser import Browser
from tests.journeys.served import WebPlace, served
from tests.journeys.test_pages_seen import wait_for
from tests.views.room_of_broods import Nursery, nursery
from tests.views.room_of_glass import NOW, PAST

from roewatch.breeding.record import BroodAct
from roewatch.room.moment import MINUTE_MS
from roewatch.views.app import app_of

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.timeout(180)]

ADDRESSES = (
    "/",
    "/broods",
    "/broods/2026-14",
    "/broods/2026-11",
    "/broods/2026-15",
    "/broods/2026-3",
    "/broods/new?tank=A2",
    "/broods/compare",
    "/broods/2026-11/report",
    "/broods/2026-14/sheet",
    "/sitter",
)


@contextmanager
def shown(room: Nursery) -> Iterator[str]:
    records, live, deeds, broods = room
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, broods=broods)
    with served(app) as base:
        yield base


def test_text_at_twice_the_size_still_fits_a_phone(tab: Browser) -> None:
    tab.size(390, 844)
    with shown(nursery()) as base:
        for address in ADDRESSES[:8]:
            tab.open(base + address)
            tab.run("document.documentElement.style.fontSize = '200%'")
            assert tab.run("document.documentElement.scrollWidth") <= 390, address
        tab.open("about:blank")


def test_everything_one_taps_to_record_is_large_enough_for_a_wet_finger(tab: Browser) -> None:
    """Our own floors: 64 px for what records, 40 for the rest; WCAG 2.2, 2.5.8 asks for 24."""
    small = """
      [...document.querySelectorAll('button, summary, select, input:not([type=hidden],'
        + '[type=checkbox], [type=radio]), label:has([type=checkbox]), label:has([type=radio])')]
        .filter(e => e.checkVisibility())
        .filter(e => e.getBoundingClientRect().height < (e.closest('.taps, .row') ? 64 : 40))
        .map(e => e.outerHTML.slice(0, 80))
    """
    tab.size(390, 844)
    with shown(nursery()) as base:
        for address in ADDRESSES[1:8]:
            tab.open(base + address)
            assert tab.run(small) == [], address
        tab.open("about:blank")


def test_counts_step_without_a_round_trip_and_keep_what_was_typed(tab: Browser) -> None:
    room = nursery()
    tab.size(390, 844)
    with shown(room) as base:
        tab.open(f"{base}/broods/2026-14")
        tab.run("document.querySelectorAll('#count-eggs button[name=step]')[1].click()")
        tab.run("document.querySelectorAll('#count-eggs button[name=step]')[1].click()")
        assert tab.run("document.querySelector('#count-eggs [name=count]').value") == "70"
        tab.events.clear()
        tab.run("document.querySelector('#count-eggs .keep').click()")
        tab.wait_event("Page.loadEventFired")
        said = tab.run("document.querySelector('.told').innerText")
        tab.open("about:blank")
    assert said.startswith("Counted: eggs about 70: recorded.")


def test_a_tap_without_a_connection_is_sent_later_once_with_its_own_id(tab: Browser) -> None:
    room = nursery()
    tab.size(390, 844)
    with shown(room) as base:
        tab.open(f"{base}/broods/2026-14")
        network = {"latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        tab.ask("Network.emulateNetworkConditions", offline=True, **network)
        try:
            tab.run("[...document.querySelectorAll('.taps button')].at(-1).click()")  # fed
            wait_for(tab, "document.getElementById('waiting')?.textContent.startsWith('1 waiting')")
            # the invented room's clock stands still in November: the record is made then too
            tab.run(
                "localStorage.records = JSON.stringify(JSON.parse(localStorage.records)"
                f".map(r => ({{...r, time: new Date({NOW - MINUTE_MS}).toISOString()}})))"
            )
            waiting = tab.run("localStorage.records")
        finally:
            tab.ask("Network.emulateNetworkConditions", offline=False, **network)
        for _ in range(2):  # the answer to the first was lost on the way: it is sent again
            tab.run(f"localStorage.records = {waiting!r}")
            tab.open(f"{base}/broods/2026-14")
            wait_for(tab, "localStorage.records === '[]'")
        tab.open("about:blank")
    (fed,) = [r for r in room[3].records("2026-14") if r.act is BroodAct.FED]
    assert fed.at_ms == NOW - MINUTE_MS
    assert re.fullmatch(r"[0-9a-f]{32}", fed.id)


@pytest.mark.parametrize(
    ("address", "paper"), [("/sitter", (8.27, 11.69)), ("/broods/2026-14/sheet", (5.83, 8.27))]
)
def test_a_sheet_prints_on_one_page(tab: Browser, address: str, paper: tuple[float, float]) -> None:
    """A4 and A5 in inches (ISO 216)."""
    with shown(nursery()) as base:
        tab.open(base + address)
        printed = tab.ask("Page.printToPDF", paperWidth=paper[0], paperHeight=paper[1])
        tab.open("about:blank")
    document = pypdfium2.PdfDocument(base64.b64decode(printed["data"]))
    assert len(document) == 1


def test_a_brood_is_kept_with_scripts_off(tab: Browser) -> None:
    room = nursery()
    tab.size(390, 844)
    with shown(room) as base:
        tab.open(f"{base}/broods/2026-14")
        box = tab.run(
            "(() => { const b = [...document.querySelectorAll('.taps button')]"
            ".find(b => b.innerText === 'Hatched'); b.scrollIntoView();"
            " return b.getBoundingClientRect().toJSON(); })()"
        )
        tab.scripts(on=False)
        try:
            tab.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
            tab.wait_event("Page.loadEventFired")
        finally:
            tab.scripts(on=True)
        tab.open("about:blank")
    assert any(r.act is BroodAct.HATCHED for r in room[3].records("2026-14"))
