"""The pages as a real browser shows them: every size, every light, every state of the room."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest
from starlette.applications import Starlette
from tests.journeys.browser import Browser
from tests.journeys.scenes import FILLED, RAMP
from tests.journeys.served import WebPlace, served
from tests.views.room_of_glass import (
    NOW,
    PAST,
    GlassDeeds,
    GlassLive,
    GlassRecords,
    alarm,
    hall,
    usual,
    well,
)
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.room.journal import JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.series import Series
from roewatch.room.tank import Probe
from roewatch.views.app import app_of

pytestmark = pytest.mark.needs("chromium")

Glass = tuple[GlassRecords, GlassLive, GlassDeeds]
ADDRESSES = (
    "/",
    "/tank/A1",
    "/tank/A1?table=ph",
    "/alarms",
    "/alarms/42",
    "/alarms/performance",
    "/records",
    "/records/1",
    FILLED,
    RAMP.replace("/water", "/water/ramp"),
    RAMP.replace("/water", "/water/card"),
    "/water/calibrate?probe=a1-ph",
    "/setup",
    "/contacts",
    "/move",
    "/move?tank=A1",
    "/nowhere",
)


def app(glass: Glass) -> Starlette:
    return app_of(*glass, settings=WebPlace(), past=PAST, workshop=GlassWorkshop())


@contextmanager
def shown(glass: Glass) -> Iterator[str]:
    with served(app(glass)) as base:
        yield base


def test_text_at_twice_the_size_still_fits_a_phone(tab: Browser) -> None:
    tab.size(390, 844)
    with shown(usual()) as base:
        for address in ADDRESSES:
            tab.open(base + address)
            tab.run("document.documentElement.style.fontSize = '200%'")
            assert tab.run("document.documentElement.scrollWidth") <= 390, address


def test_everything_one_taps_is_large_enough_for_a_wet_finger(tab: Browser) -> None:
    """WCAG 2.2, 2.5.8 asks for 24 px; our own floor for what stands alone is 40."""
    small = """
      [...document.querySelectorAll('button, summary, select, nav a, label:has([type=checkbox]),'
        + 'label:has([type=radio]), input:not([type=hidden], [type=checkbox], [type=radio])')]
        .filter(e => e.checkVisibility())
        .map(e => [e.textContent.trim() || e.name, e.getBoundingClientRect()])
        .filter(([_, box]) => box.height < 40 && box.width > 1)
        .map(([name, box]) => name + ' ' + box.height)
    """
    tab.size(390, 844)
    with shown(usual()) as base:
        for address in ADDRESSES:
            tab.open(base + address)
            assert tab.run(small) == [], address


def test_a_heater_alarm_is_taken_from_message_to_acknowledged_in_one_tap_without_scripts(
    tab: Browser,
) -> None:
    glass = usual()
    tab.size(390, 844)
    with shown(glass) as base:
        tab.scripts(on=False)
        try:
            tab.open(f"{base}/tank/B2")
            tab.scripts(on=True)  # only to press the button, as a finger would
            button = "form[action$='/acknowledge'] button"
            box = tab.run(f'document.querySelector("{button}").getBoundingClientRect().toJSON()')
            assert box["y"] + box["height"] < 844, "the button is in sight without scrolling"
            tab.scripts(on=False)
            tab.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
            tab.wait_event("Page.loadEventFired")
        finally:
            tab.scripts(on=True)
        assert "Alarm 42 acknowledged." in tab.run("document.querySelector('main').innerText")
    assert glass[2].done == [("acknowledge", 42, "somebody at this computer")]


def test_the_room_is_readable_in_each_light(tab: Browser) -> None:
    """The page's own colours, asked of the browser, keep the contrast the palette promises."""
    contrast = """
      (() => {
        const light = c => { const v = c.match(/\\d+/g).slice(0, 3).map(n => n / 255)
          .map(x => x <= 0.03928 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
          return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
        const s = getComputedStyle(document.body);
        const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
          return (x + 0.05) / (y + 0.05); };
        const quiet = getComputedStyle(document.querySelector('.foot')).color;
        const out = getComputedStyle(document.querySelector('.cell.is-outside .mark')).color;
        return [s.color, quiet, out].map(c => ratio(c, s.backgroundColor));
      })()
    """
    with shown(usual()) as base:
        for wish in ("dark", "light"):
            tab.wish(prefers_color_scheme=wish)
            tab.open(base)
            assert min(tab.run(contrast)) >= 4.5, wish
        for theme in ("night", "day", "red"):
            tab.ask("Network.setCookie", name="roewatch_theme", value=theme, url=base)
            tab.open(base)
            assert min(tab.run(contrast)) >= 4.5, theme
        tab.ask("Network.deleteCookies", name="roewatch_theme", url=base)
    tab.wish(prefers_color_scheme="dark")


def test_on_paper_there_are_no_buttons_and_the_page_is_white(tab: Browser) -> None:
    with shown(usual()) as base:
        tab.open(f"{base}/tank/A1")
        tab.wish(media="print")
        try:
            seen = tab.run(
                "[...document.querySelectorAll('button, nav')]"
                ".filter(e => e.checkVisibility()).length"
            )
            white = tab.run("getComputedStyle(document.body).backgroundColor")
        finally:
            tab.wish(prefers_color_scheme="dark")
    assert seen == 0
    assert white == "rgb(255, 255, 255)"


def wait_for(tab: Browser, condition: str) -> None:
    """Until the page itself says so; a bound, not a sleep."""
    tab.run(
        f"new Promise((done, late) => {{ const end = Date.now() + 15000; const look = () => "
        f"({condition}) ? done(true) : Date.now() > end ? late(new Error({condition!r})) "
        ": requestAnimationFrame(look); look(); })"
    )


def test_an_open_room_page_shows_a_new_alarm_by_itself_and_says_it_aloud(tab: Browser) -> None:
    glass = usual()
    records, live, _ = glass
    tab.size(390, 844)
    with shown(glass) as base:
        tab.open(base)
        assert "inside" in tab.run("document.getElementById('t-A5').innerText")
        records.kept_alarms.append(
            alarm(50, "A5", Kind.ABOVE_WINDOW, quantity=Quantity.PH, value=7.4)
        )
        live.bump()
        wait_for(tab, "document.getElementById('t-A5').innerText.includes('pH above')")
        assert "2 new alarms" in tab.run("document.getElementById('strip').innerText")
        assert (
            tab.run("document.getElementById('loud').textContent")
            == "New alarm: A5 pH above window"
        )
        assert tab.complaints(base) == []
        tab.open("about:blank")


def test_an_open_alarm_page_follows_without_stealing_what_is_being_typed(tab: Browser) -> None:
    glass = usual()
    records, live, _ = glass
    with shown(glass) as base:
        tab.open(f"{base}/alarms")
        records.kept_alarms.append(alarm(51, "A5", Kind.HEATER_DEAD))
        live.bump()
        wait_for(tab, "document.getElementById('no-51') !== null")
        tab.run("document.querySelector('#no-51 .shelve').open = true")
        tab.run("document.querySelector('#why-51').focus()")
        tab.run("document.querySelector('#why-51').value = 'half a wo'")
        records.kept_alarms.append(alarm(52, "A6", Kind.HEATER_DEAD))
        live.bump()
        wait_for(tab, "document.getElementById('strip').innerText.includes('3 new')")
        assert tab.run("document.querySelector('#why-51').value") == "half a wo"
        tab.open("about:blank")


def test_arrow_keys_walk_the_readings_and_speak_them(tab: Browser) -> None:
    with shown(usual()) as base:
        tab.open(f"{base}/tank/A1")
        tab.run("document.querySelector('.chart').focus()")
        tab.key("End")
        last = tab.run("document.getElementById('polite').textContent")
        assert re.fullmatch(r"Thu 12, 14:2\d: 5\.\d\d ?", last), last
        tab.key("ArrowLeft")
        assert tab.run("document.getElementById('polite').textContent") != last
        tab.open("about:blank")


def test_keys_lead_to_the_places(tab: Browser) -> None:
    with shown(usual()) as base:
        tab.open(base)
        tab.key("g")
        tab.events.clear()
        tab.key("a")
        tab.wait_event("Page.loadEventFired")
        assert tab.run("location.pathname") == "/alarms"
        tab.key("?")
        assert tab.run("document.getElementById('keys').checkVisibility()")
        tab.open("about:blank")


class BusyWeek(GlassRecords):
    """Sixty thousand readings in the week, thinned as the store thins them."""

    def series(self, probe: Probe, from_ms: int, to_ms: int, columns: int = 0) -> Series:
        whole = super().series(probe, from_ms, to_ms, columns)
        step = max(1, (to_ms - from_ms) // (columns * 4 or 60_000))
        at = list(range(from_ms, min(to_ms, NOW), step))
        value = [5.6 + ((t // step * 7919) % 100) / 500 for t in at]
        return replace(whole, at_ms=at, value=value, flag=[1] * len(at), thinned=True)


def test_the_first_chart_is_drawn_on_a_slow_phone_and_the_figure_is_printed(tab: Browser) -> None:
    """Time is printed, not judged: a shared machine is no phone. Issue 8 asks for 0.6 s."""
    records, live, deeds = usual()
    busy = BusyWeek(records.room)
    tab.size(390, 844)
    with shown((busy, live, deeds)) as base:
        tab.open(f"{base}/tank/A5")  # everything warm, as after the first visit
        tab.ask("Emulation.setCPUThrottlingRate", rate=4)
        try:
            tab.open(f"{base}/tank/A5?span=7d")
            wait_for(tab, "performance.getEntriesByName('first-contentful-paint').length")
            painted = tab.run("performance.getEntriesByName('first-contentful-paint')[0].startTime")
        finally:
            tab.ask("Emulation.setCPUThrottlingRate", rate=1)
        drawn = tab.run("document.querySelectorAll('.chart defs path')[0].getAttribute('d').length")
        tab.open("about:blank")
    print(f"first picture after {painted:.0f} ms, {drawn} characters of line")
    assert drawn > 5000


def test_a_record_made_without_a_connection_is_sent_later_once_with_its_own_time(
    tab: Browser,
) -> None:
    glass = usual()
    tab.size(390, 844)
    with shown(glass) as base:
        tab.open(f"{base}/tank/A2")
        network = {"latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        tab.ask("Network.emulateNetworkConditions", offline=True, **network)
        try:
            tab.run("document.querySelector('.onetap form button').click()")
            wait_for(tab, "document.getElementById('waiting')?.textContent.startsWith('1 waiting')")
            assert glass[2].done == []
            # the invented room's clock stands still in November: the record is made then too
            tab.run(
                "localStorage.records = JSON.stringify(JSON.parse(localStorage.records)"
                f".map(r => ({{...r, time: new Date({NOW - MINUTE_MS}).toISOString()}})))"
            )
        finally:
            tab.ask("Network.emulateNetworkConditions", offline=False, **network)
        tab.open(f"{base}/tank/A2")
        wait_for(tab, "localStorage.records === '[]'")
        tab.open("about:blank")
    ((what, entry),) = glass[2].done
    assert what == "enter"
    assert isinstance(entry, JournalEntry)
    assert (entry.tank, entry.detail, entry.at_ms) == ("A2", "15 %", NOW - MINUTE_MS)


def test_one_tap_with_scripts_records_and_says_so(tab: Browser) -> None:
    glass = usual()
    with shown(glass) as base:
        tab.open(f"{base}/tank/A2")
        tab.events.clear()
        tab.run("document.querySelector('.onetap form button').click()")
        tab.wait_event("Page.loadEventFired")
        said = tab.run("document.querySelector('.told').innerText")
        tab.open("about:blank")
    assert said == "A2: water change, 15 %, recorded."
    assert len(glass[2].done) == 1


def test_a_wide_screen_shows_every_tank_and_hides_none_beside_a_shelf(tab: Browser) -> None:
    hidden = """
      [...document.querySelectorAll('.shelf')].filter(s => s.scrollWidth > s.clientWidth + 1).length
    """
    with shown(well(hall(60))) as base:
        for width in (1280, 1920):
            tab.size(width, 800)
            tab.open(base)
            assert tab.run(hidden) == 0, width
            assert tab.run("document.documentElement.scrollWidth") <= width
        tab.size(390, 844)
        tab.open(base)
        peeking = tab.run("document.querySelectorAll('.shelf li')[3].getBoundingClientRect().left")
        assert peeking < 380, "a fourth cell shows its edge, so that nobody misses it"
        tab.open("about:blank")
