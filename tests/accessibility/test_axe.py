"""The pages against WCAG 2.2 at level AA, as the axe rules see them in a real browser."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from tests.journeys.browser import Browser
from tests.journeys.scenes import LIGHTS, SCENES, SIZES, lit, scene

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.needs("axe"), pytest.mark.timeout(400)]

RULES = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
LEVELS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")

_RUN = """
axe.run(document, {runOnly: {type: 'tag', values: %s}, resultTypes: ['violations']}).then(found =>
  found.violations.map(v => v.id + ': ' + v.help + ' at ' +
    v.nodes.slice(0, 5).map(n => n.target.join(' ')).join(', ')))
"""

_CONTRAST = """
axe.run(document, {runOnly: {type: 'rule', values: ['color-contrast']}}).then(found =>
  found.violations.map(v => v.id + ' at ' +
    v.nodes.slice(0, 5).map(n => n.target.join(' ')).join(', ')))
"""
_OF_OTHER_STATES = 12
"""So many pages of a scene that is not the usual one: those that look another way there."""


def violations(tab: Browser) -> list[str]:
    """What the rules have against the page that is open."""
    tab.run(RULES.read_text(encoding="utf-8"))
    said: list[str] = tab.run(_RUN % list(LEVELS))
    return said


def against(tab: Browser, state: str, size: str, lights: Sequence[str]) -> list[str]:
    """What the rules have against a scene's pages, unfolded; of contrast in these lights too."""
    said = []
    addresses = SCENES[state].addresses
    with scene(state) as base:
        lit(tab, base, "night")
        # a report's own policy lets no script in; the rules' may look at it all the same
        tab.ask("Page.setBypassCSP", enabled=True)
        try:
            for address in addresses if state == "usual" else addresses[:_OF_OTHER_STATES]:
                tab.size(*SIZES[size])
                tab.open(base + address)
                tab.run("document.querySelectorAll('details').forEach(d => d.open = true)")
                found = violations(tab)
                for light in lights:
                    tab.run(f"document.documentElement.dataset.theme = '{light}'")
                    found += [f"{light}: {text}" for text in tab.run(_CONTRAST)]
                said += [f"{address} {size}: {text}" for text in found]
        finally:
            tab.ask("Page.setBypassCSP", enabled=False)
            lit(tab, base, "")
            tab.open("about:blank")
    return said


def test_every_page_passes_on_a_phone_in_every_light(tab: Browser) -> None:
    assert against(tab, "usual", "phone", LIGHTS[1:]) == []


def test_every_page_passes_on_a_wide_screen(tab: Browser) -> None:
    """In one light: a page has the same colours in every size."""
    assert against(tab, "usual", "wide", ()) == []


@pytest.mark.parametrize(
    "state", ["cut-off", "empty", "flood", "outside", "unreadable", "many", "strange"]
)
def test_pages_pass_in_other_states_of_the_room(tab: Browser, state: str) -> None:
    assert against(tab, state, "narrow", LIGHTS[1:]) == []


@pytest.mark.parametrize("wish", ["dark", "light"])
def test_what_the_phone_wishes_passes_too(tab: Browser, wish: str) -> None:
    tab.wish(prefers_color_scheme=wish)
    with scene("usual") as base:
        for address in ("/", "/broods/2026-14/sheet"):
            tab.open(base + address)
            assert violations(tab) == [], address
        tab.open("about:blank")


def test_the_rules_do_find_what_is_wrong(tab: Browser) -> None:
    tab.open("data:text/html,<html><body><img src='x'><input></body></html>")
    said = " ".join(violations(tab))
    assert "image-alt" in said
    assert "label" in said
