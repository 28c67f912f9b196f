"""Every act of the pages with scripts switched off in a real browser, by a finger's tap."""

from dataclasses import dataclass
from typing import Any

import pytest
from starlette.routing import Route
from tests.journeys.browser import Browser
from tests.journeys.scenes import FILLED, OF_THE_BOATHOUSE, RAMP
from tests.journeys.served import WebPlace, served
from tests.views.room_of_broods import nursery
from tests.views.room_of_glass import NOW, PAST, alarm, usual
from tests.views.test_door import ACCESS, KEY, SECRET
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.alarms.alarm import State
from roewatch.alarms.token import make_token
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS
from roewatch.views.app import app_of
from roewatch.views.visitor import NOBODY

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.timeout(300)]

SAID = {
    "name": "Keeper", "passphrase": SECRET, "why": "new substrate", "rack": "C", "shelf1": "2",
    "read1": "4.1", "true1": "4", "read2": "7.1", "true2": "7", "own": "18:00", "host": "127.0.0.1",
    "port": "1883", "way": "siren", "url": "ntfy://127.0.0.1/boathouse", "litres": "20",
    "count": "64",
}  # fmt: skip
"""What is typed into an empty field of that name."""


@dataclass
class Room:
    """What is served, and what was done to it."""

    app: Any
    done: list[tuple[object, ...]]


def room(*, locked: bool = False) -> Room:
    """The usual room, with one more alarm for each way of quieting one."""
    records, live, deeds, broods = nursery()
    records.kept_alarms += [
        alarm(60, "A2", Kind.PROBE_DRY, state=State.OUT_OF_SERVICE),
        alarm(61, "A3", Kind.POWER_CUT, state=State.RETURNED, present=False, latched=True),
    ]
    workshop = GlassWorkshop()
    app = app_of(
        records, live, deeds, settings=WebPlace(), past=PAST, broods=broods, workshop=workshop,
        access=ACCESS if locked else NOBODY,
    )  # fmt: skip
    return Room(app=app, done=deeds.done)


def open_still(tab: Browser, address: str) -> None:
    """A page that runs no script of its own."""
    tab.scripts(on=False)
    tab.open(address)


def press(tab: Browser, form: str, button: str = "button") -> None:
    """Fill a form's empty fields and tap its button; the page itself runs no script at any time.

    The scripts switched on in between are the test's: a finger that unfolds, types and looks.
    """
    tab.scripts(on=True)
    box = tab.run(f"""
      (() => {{
        const form = document.querySelector({form!r});
        for (let d = form.closest('details'); d; d = d.parentElement.closest('details'))
          d.open = true;
        const said = {SAID!r};
        for (const field of form.elements)
          if (field.tagName === 'INPUT' && !field.value && said[field.name] !== undefined)
            field.value = said[field.name];
          else if (field.tagName === 'INPUT' && field.required && field.type === 'text' &&
                   !field.value) field.value = 'a word';
          else if (field.type === 'radio' && field.required) field.checked = true;
          else if (field.tagName === 'SELECT' && field.required && !field.value)
            field.value = [...field.options].find(o => o.value).value;
        const button = form.querySelector({button!r});
        button.scrollIntoView({{block: 'center'}});
        return button.getBoundingClientRect().toJSON();
      }})()
    """)
    tab.scripts(on=False)
    tab.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.wait_event("Page.loadEventFired")


def read(tab: Browser) -> str:
    """What the page says, and its address."""
    tab.scripts(on=True)
    said: str = tab.run("location.pathname + '\\n' + document.body.innerText")
    tab.scripts(on=False)
    return said


def forms_of(app: Any) -> set[str]:
    """The addresses of every form of the pages."""
    return {
        route.path
        for route in app.routes
        if isinstance(route, Route)
        and "POST" in (route.methods or set())
        and not route.path.startswith("/api")
    }


EVERY_ACT = (
    # page, form, button, what the next page says
    ("/alarms", "form[action='/alarms/42/acknowledge']", "button", "Alarm 42 acknowledged"),
    ("/alarms", "form[action='/alarms/42/shelve']", "button", "shelved"),
    ("/alarms", "form[action='/alarms/41/out-of-service']", "button", "out of service"),
    ("/alarms", "form[action='/alarms/38/unshelve']", "button", "Alarm 38"),
    ("/alarms", "form[action='/alarms/60/return']", "button", "Alarm 60"),
    ("/alarms", "form[action='/alarms/61/reset']", "button", "Alarm 61"),
    ("/records?tank=A2", ".onetap form", "button", "A2: water change, 15 %, recorded"),
    ("/tank/A2", ".onetap .note", "button", "A2: note, a word, recorded"),
    ("/records/1", "form[action='/records/1']", "button", "put right"),
    ("/records/1", "form[action='/records/1/withdraw']", "button", "withdrawn"),
    ("/broods/new?tank=A2", "form[action='/broods']", "button", "Brood 2026-16"),
    ("/broods/2026-14", ".taps form", "button", "recorded"),
    ("/broods/2026-14", "#count-eggs form", "button[name=step]", "eggs"),
    ("/broods/2026-14", "#count-eggs form", ".keep", "Counted"),
    ("/broods/2026-14", ".todos form", "button", "recorded"),
    ("/broods/2026-11", "form[action='/broods/2026-11/undo']", "button", "2026-11"),
    ("/broods/2026-11", "form[action='/broods/2026-11/correct']", "button", "2026-11"),
    ("/broods/2026-15", "form[action='/broods/2026-15/end']", "button", "Ended"),
    (FILLED, ".bench", ".steps button", "Gives"),
    (RAMP.replace("/water", "/water/ramp"), "form[action='/water/ramp'][method=post]", "button",
     "A1"),
    (RAMP.replace("/water", "/water/ramp"), "form[action='/water/ramp/end']", "button", "A1"),
    ("/water/calibrate?probe=a1-ph", "form[action='/water/calibrate/begin']", "button", "a1-ph"),
    ("/water/calibrate?probe=a1-ph", "form[action='/water/calibrate'][method=post]", "button",
     "slope"),
    ("/setup", "form[action='/setup/broker']", "button", "The broker is 127.0.0.1"),
    ("/setup", "form[action='/setup/listen']", "button", "Set-up"),
    ("/setup", "form[action='/setup/rack']", "button", "Rack C"),
    ("/setup", "form[action='/setup/tie']", "button", "Set-up"),
    ("/setup", "#stock-B6", "button", "Set-up"),
    ("/setup", "form[action='/setup/reload']", "button", "Set-up"),
    ("/setup", "form[action='/setup/test']", "button", "Test alarm"),
    ("/contacts", "form[action='/contacts']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/change']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/sooner']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/remove']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/patience']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/ways']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/ways/change']", "button", "Who is told"),
    ("/contacts", "form[action='/contacts/ways/remove']", "button", "Who is told"),
    ("/move?tank=A1", "form[action='/place']", "button", "Move tanks"),
    ("/", "form[action='/theme']", "button[value=red]", "Light"),
    ("/", "form[action='/units']", "button", "Read in"),
    ("/", ".find", "button", "no tank"),
)  # fmt: skip
"""Every form there is on the pages, pressed once."""

LOCKED = {"/enter", "/leave", "/acknowledge/{token}"}
"""Forms of a room where people log in, pressed in a test of their own."""


@pytest.mark.parametrize(("page", "form", "button", "says"), EVERY_ACT)
def test_every_act_is_done_by_a_tap_without_scripts(
    tab: Browser, page: str, form: str, button: str, says: str
) -> None:
    tab.size(390, 844)
    with served(room().app) as base:
        try:
            open_still(tab, base + page)
            press(tab, form, button)
            said = read(tab)
        finally:
            tab.scripts(on=True)
            tab.open("about:blank")
    assert says in said
    assert "That was not done" not in said


def test_a_keeper_logs_in_acknowledges_by_a_notices_link_and_logs_out_without_scripts(
    tab: Browser,
) -> None:
    tab.size(390, 844)
    raised = usual()[0].alarm(42)
    assert raised is not None
    token = make_token(KEY, raised, by="Keeper", issued_ms=NOW, lives_ms=DAY_MS)
    inside = room(locked=True)
    with served(inside.app) as base:
        try:
            open_still(tab, f"{base}/acknowledge/{token}")
            press(tab, ".act-form")
            assert "Acknowledged as Keeper" in read(tab)
            open_still(tab, f"{base}/alarms")
            press(tab, "form[action='/enter']")
            assert read(tab).startswith("/alarms")
            press(tab, "form[action='/leave']")
            assert read(tab).startswith("/enter")
        finally:
            tab.scripts(on=True)
            tab.open("about:blank")
    assert inside.done[0][:2] == ("acknowledge", 42)


def test_no_form_of_the_pages_is_forgotten_here() -> None:
    app = room().app
    pressed = set()
    for page, form, _, _ in EVERY_ACT:
        action = form.split("action='")[1].split("'")[0] if "action='" in form else ""
        guess = action or {
            "#stock-B6": "/setup/tank",
            ".onetap form": "/records",
            ".onetap .note": "/records",
            ".taps form": "/broods/2026-14/records",
            ".todos form": "/broods/2026-14/records",
            "#count-eggs form": "/broods/2026-14/records",
        }.get(form, page.split("?")[0])
        pressed |= {
            route.path
            for route in app.routes
            if isinstance(route, Route)
            and "POST" in (route.methods or set())
            and route.path_regex.match(guess)
        }
    assert forms_of(app) - pressed - LOCKED == set()


def test_every_page_can_be_read_without_scripts(tab: Browser) -> None:
    tab.size(390, 844)
    with served(room().app) as base:
        try:
            for address in ("/", "/alarms", "/broods", "/water", "/records", *OF_THE_BOATHOUSE):
                open_still(tab, base + address)
                tab.scripts(on=True)
                assert len(tab.run("document.querySelector('main').innerText")) > 60, address
        finally:
            tab.scripts(on=True)
            tab.open("about:blank")
