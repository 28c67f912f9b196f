"""The three headline uses by the pages alone, counted in taps and seconds.

    .venv/bin/python -m tests.bench.three_uses

Headless Chromium, 390 x 844, its CPU slowed four times, scripts on, pages warm. A tap is a finger
on the glass; the seconds are the program's share, from a tap to the picture that answers it, not
the person's.
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager

from tests.conftest import found
from tests.journeys.browser import Browser, browser
from tests.journeys.served import WebPlace, served
from tests.journeys.test_pages_seen import wait_for
from tests.views.room_of_glass import NOW, PAST, hall, usual, well
from tests.views.test_door import ACCESS, KEY

from roewatch.alarms.token import make_token
from roewatch.room.moment import DAY_MS
from roewatch.views.app import app_of
from roewatch.views.visitor import Access

PAINTED = "performance.getEntriesByName('first-contentful-paint').length"


class Count:
    """Taps, and seconds until each was answered."""

    def __init__(self, tab: Browser) -> None:
        self.tab, self.taps, self.seconds = tab, 0, 0.0

    def open(self, address: str, *, tapped: bool) -> None:
        self.taps += tapped
        began = time.perf_counter()
        self.tab.open(address)
        wait_for(self.tab, PAINTED)
        self.seconds += time.perf_counter() - began

    def tap(self, selector: str) -> None:
        self.taps += 1
        began = time.perf_counter()
        self.tab.click(selector)
        wait_for(self.tab, PAINTED)
        self.seconds += time.perf_counter() - began

    def sees(self, words: str) -> bool:
        text = self.tab.run("document.body.innerText")
        assert isinstance(text, str)
        return words in text


@contextmanager
def slowed(tab: Browser, base: str, warm: str) -> Iterator[Count]:
    tab.open(base + warm)  # as after the first visit
    tab.ask("Emulation.setCPUThrottlingRate", rate=4)
    try:
        yield Count(tab)
    finally:
        tab.ask("Emulation.setCPUThrottlingRate", rate=1)
        tab.open("about:blank")


def tell(what: str, count: Count) -> None:
    print(f"{what}: {count.taps} taps, {count.seconds:.1f} s")


def main() -> None:
    program = found("chromium")
    assert program is not None
    print(f"load of this machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with browser(program) as tab:
        tab.size(390, 844)
        tab.wish(prefers_color_scheme="dark")
        calm = app_of(*well(hall(60)), settings=WebPlace(), past=PAST)
        with served(calm) as base, slowed(tab, base, "/") as count:
            count.open(base, tapped=True)
            assert count.sees("no alarms")
            tell("all is well, 60 tanks, from the phone's home screen", count)
        links = Access(people=ACCESS.people, link_key=KEY)
        room = app_of(*usual(), settings=WebPlace(), past=PAST, access=links)
        raised = usual()[0].alarm(42)
        assert raised is not None
        token = make_token(KEY, raised, by="Keeper", issued_ms=NOW, lives_ms=DAY_MS)
        with served(room) as base, slowed(tab, base, "/enter") as count:
            count.open(f"{base}/acknowledge/{token}", tapped=True)
            assert count.sees("First:"), "what to do stands beside the button"
            count.tap("form button")
            assert count.sees("Keeper")
            tell("an alarm, from the notice on the phone to acknowledged", count)
        plain = app_of(*usual(), settings=WebPlace(), past=PAST)
        with served(plain) as base, slowed(tab, base, "/tank/A2") as count:
            count.open(base, tapped=True)
            count.tap("#t-A1")
            assert tab.run("document.querySelectorAll('.c-plan').length") > 0
            assert tab.run("document.querySelector('[aria-current=true]').innerText") == "week"
            tell("a week of pH during conditioning with its plan", count)


if __name__ == "__main__":
    main()
