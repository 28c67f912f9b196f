"""The pages against WCAG 2.2 at level AA, as the axe rules see them in a real browser."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.conftest import found
from tests.journeys.browser import Browser, browser
from tests.journeys.served import WebPlace, served
from tests.journeys.test_pages_seen import ADDRESSES
from tests.views.room_of_glass import NOW, PAST, usual
from tests.views.test_door import ACCESS, KEY
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.alarms.token import make_token
from roewatch.room.moment import DAY_MS
from roewatch.views.app import app_of
from roewatch.views.visitor import NOBODY, Access

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.needs("axe"), pytest.mark.timeout(180)]

RULES = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
LEVELS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
LIGHTS = ("dark", "light")

_RUN = """
axe.run(document, {runOnly: {type: 'tag', values: %s}, resultTypes: ['violations']}).then(found =>
  found.violations.map(v => v.id + ': ' + v.help + ' at ' +
    v.nodes.slice(0, 5).map(n => n.target.join(' ')).join(', ')))
"""


@pytest.fixture(scope="module")
def tab() -> Iterator[Browser]:
    program = found("chromium")
    assert program is not None
    with browser(program) as tab:
        yield tab


def violations(tab: Browser) -> list[str]:
    """What the rules have against the page that is open."""
    tab.run(RULES.read_text(encoding="utf-8"))
    said: list[str] = tab.run(_RUN % list(LEVELS))
    return said


def against(tab: Browser, address: str, light: str, access: Access = NOBODY) -> list[str]:
    """What the rules have against one page, on a phone and on a wide screen."""
    records, live, deeds = usual()
    app = app_of(
        records, live, deeds,
        settings=WebPlace(), past=PAST, access=access, workshop=GlassWorkshop(),
    )  # fmt: skip
    said = []
    with served(app) as base:
        for width, height in ((390, 844), (1280, 800)):
            tab.size(width, height)
            tab.wish(prefers_color_scheme=light)
            tab.open(f"{base}{address}")
            said += [f"{width} px: {text}" for text in violations(tab)]
        tab.open("about:blank")
    return said


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("address", ADDRESSES)
def test_every_page_passes(tab: Browser, address: str, light: str) -> None:
    assert against(tab, address, light) == []


@pytest.mark.parametrize("light", LIGHTS)
def test_the_page_behind_a_notices_link_passes(tab: Browser, light: str) -> None:
    raised = usual()[0].alarm(42)
    assert raised is not None
    token = make_token(KEY, raised, by="Keeper", issued_ms=NOW, lives_ms=DAY_MS)
    assert against(tab, f"/acknowledge/{token}", light, ACCESS) == []
    assert against(tab, "/acknowledge/spent", light, ACCESS) == []


@pytest.mark.parametrize("light", LIGHTS)
def test_the_page_to_log_in_on_passes(tab: Browser, light: str) -> None:
    assert against(tab, "/enter", light, ACCESS) == []


def test_the_rules_do_find_what_is_wrong(tab: Browser) -> None:
    tab.open("data:text/html,<html><body><img src='x'><input></body></html>")
    said = " ".join(violations(tab))
    assert "image-alt" in said
    assert "label" in said
