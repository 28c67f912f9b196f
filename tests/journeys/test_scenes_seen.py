"""Every page in every state, size and light, as a real browser shows it."""

import re
from typing import Any

import pytest
from starlette.routing import Route
from tests.journeys.browser import Browser
from tests.journeys.scenes import (
    AFTER_A_TAP,
    LIGHTS,
    SCENES,
    SIZES,
    UNFOLDED,
    AfterATap,
    everything,
    lit,
    scene,
)

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.timeout(300)]

NO_PAGES = {"/calendar.ics", "/healthz", "/metrics", "/static/{name}"}
"""What is asked for by programs, not looked at."""

TARGETS = """
(() => {
  const words = (one) => one.innerText || one.name || one.getAttribute('href') || '';
  const inSentence = (link) => {
    if (!link.matches('a') || !getComputedStyle(link).display.startsWith('inline')) return false;
    let block = link.parentElement;
    while (getComputedStyle(block).display === 'inline') block = block.parentElement;
    const links = [...block.querySelectorAll('a')].map((a) => a.innerText);
    const rest = links.reduce((text, own) => text.replace(own, ''), block.innerText);
    return /\\w/.test(rest);
  };
  const found = [];
  const all = 'a[href], button, input, select, textarea, summary';
  for (const one of document.querySelectorAll(all)) {
    const box = one.matches('[type=checkbox], [type=radio]') ? one.closest('label') ?? one : one;
    const { width, height, x, y } = box.getBoundingClientRect();
    if (!one.checkVisibility() || width < 2 || x + width < 0 || one.type === 'hidden') continue;
    found.push({ width, height, x: x + width / 2, y: y + height / 2,
      within: Boolean(box.ownerSVGElement) || inSentence(one), name: words(box).slice(0, 30) });
  }
  const meets = (one) => found.some((other) => other !== one
    && Math.abs(other.x - one.x) < 24 && Math.abs(other.y - one.y) < 24);
  return found.filter((one) => one.within
    ? Math.min(one.width, one.height) < 24 && meets(one)
    : one.height < 44).map((one) => [one.name, Math.round(one.width), Math.round(one.height)]);
})()
"""
"""Targets too small for a thumb: one that stands alone less than 44 px high; one within a sentence
or a chart less than 24 px and with another so near that their circles of 24 px meet (WCAG 2.2,
2.5.8)."""

ASKED_FOR_AND_NOT_THERE = "the server responded with a status of"


def test_every_page_the_program_knows_is_in_a_scene() -> None:
    app = SCENES["usual"].app()
    pages = {
        route.path
        for route in app.routes
        if isinstance(route, Route)
        and "GET" in (route.methods or set())
        and not route.path.startswith("/api")
        and not route.path.endswith((".svg", ".png", ".pdf"))
    }
    looked_at = {
        route.path
        for route in app.routes
        if isinstance(route, Route)
        for _, address in everything()
        if route.path_regex.match(address.split("?")[0])
    }
    assert pages - NO_PAGES - looked_at == set()


@pytest.mark.parametrize("state", SCENES)
def test_every_page_fits_any_size_and_light_and_a_thumb(tab: Browser, state: str) -> None:
    """No page scrolls sideways, and on a phone nothing to be tapped is too small.

    The light is changed in the open page: what it changes is all in the style sheets.

    Every light in the usual state; in the others one, for no light has its own layout.
    """
    lights = LIGHTS if state == "usual" else LIGHTS[:1]
    faults: list[tuple[object, ...]] = []
    with scene(state) as base:
        for address in SCENES[state].addresses:
            tab.size(*SIZES["phone"])
            tab.open(base + address)
            tab.run(UNFOLDED)
            faults += [(address, "too small", *target) for target in tab.run(TARGETS)]
            for light in lights:
                tab.run(f"document.documentElement.dataset.theme = '{light}'")
                for width, height in SIZES.values():
                    tab.size(width, height)
                    wide = tab.run("document.documentElement.scrollWidth")
                    faults += [(address, light, width, wide)] if wide > width else []
            faults += [
                (address, said)
                for said in tab.complaints(base)
                if ASKED_FOR_AND_NOT_THERE not in said
            ]
        tab.open("about:blank")
    assert faults == []


@pytest.mark.parametrize("one", AFTER_A_TAP, ids=lambda one: f"{one.address}-{one.name}")
def test_a_page_that_only_a_form_leads_to_fits_the_narrowest_phone(
    tab: Browser, one: AfterATap
) -> None:
    with scene(one.state) as base:
        tab.size(*SIZES["narrow"])
        one.show(tab, base)
        said = tab.run("document.querySelector('main').innerText")
        wide = tab.run("document.documentElement.scrollWidth")
        tab.open("about:blank")
    assert one.says in said
    assert wide <= SIZES["narrow"][0]


_BRIGHTEST = """
(async () => {
  const picture = new Image();
  picture.src = 'data:image/png;base64,%s';
  await picture.decode();
  const sheet = new OffscreenCanvas(picture.width, picture.height);
  const pen = sheet.getContext('2d');
  pen.drawImage(picture, 0, 0);
  const dots = pen.getImageData(0, 0, picture.width, picture.height).data;
  const most = {green: 0, blue: 0};
  for (let i = 0; i < dots.length; i += 4) {
    most.green = Math.max(most.green, dots[i + 1]);
    most.blue = Math.max(most.blue, dots[i + 2]);
  }
  return most;
})()
"""


def brightest(tab: Browser, png: str) -> dict[str, int]:
    """The most green and the most blue any dot of a picture has, 0 to 255."""
    tab.open("about:blank")
    most: dict[str, int] = tab.run(_BRIGHTEST % png)
    return most


def shot(tab: Browser) -> str:
    """The whole open page as base64 PNG."""
    high = tab.run("document.documentElement.scrollHeight")
    tab.size(390, min(high, 4000))
    answer: dict[str, Any] = tab.ask("Page.captureScreenshot", format="png")
    return str(answer["data"])


@pytest.mark.parametrize("state", ["usual", "empty", "outside", "unreadable"])
def test_in_red_light_no_dot_of_any_page_is_brighter_than_a_red_lamp(
    tab: Browser, state: str
) -> None:
    """Rods, which see in the dark, hardly answer to red light and are dazzled by blue and green
    (scotopic luminous efficiency, CIE 1951; common knowledge). A dot may hold full red; green and
    blue only so much that text keeps its contrast of 4.5 to 1.
    """
    bright = []
    with scene(state) as base:
        lit(tab, base, "red")
        try:
            for address in SCENES[state].addresses:
                tab.size(*SIZES["phone"])
                tab.open(base + address)
                tab.run(UNFOLDED)
                most = brightest(tab, shot(tab))
                if most["green"] > 80 or most["blue"] > 48:
                    bright.append((address, most))
        finally:
            lit(tab, base, "")
    assert bright == []


def test_in_red_light_a_charts_picture_is_red_too(tab: Browser) -> None:
    with scene("usual") as base:
        lit(tab, base, "red")
        try:
            tab.size(*SIZES["phone"])
            tab.open(f"{base}/tank/A1")
            tab.run("[...document.links].find(a => a.innerText === 'picture').click()")
            tab.wait_event("Page.loadEventFired")
            drawn = tab.run("new XMLSerializer().serializeToString(document.documentElement)")
        finally:
            lit(tab, base, "")
    colours = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{6}\b", drawn)}
    assert colours
    for colour in colours:
        _, green, blue = (int(colour[n : n + 2], 16) for n in (1, 3, 5))
        assert green <= 80, colour
        assert blue <= 48, colour


def test_a_flood_of_alarms_shows_the_gravest_first_and_folds_the_rest(tab: Browser) -> None:
    with scene("flood") as base:
        tab.size(*SIZES["phone"])
        tab.open(f"{base}/alarms")
        first = tab.run("document.querySelector('#open h3').innerText")
        button = tab.run(
            "document.querySelector('#open .act-form button').getBoundingClientRect().y"
        )
        screens = tab.run("document.querySelector('#open').scrollHeight") / 844
        tab.open(f"{base}/alarms#no-118")
        unfolded = tab.run("document.getElementById('no-118').checkVisibility()")
        tab.open("about:blank")
    assert "temperature below window" in first
    assert button < 844, "the first Acknowledge is in sight without scrolling"
    assert screens < 5
    assert unfolded, "a notice's link opens the fold its alarm lies in"
