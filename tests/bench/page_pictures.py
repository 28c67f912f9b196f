"""Every page in every size, light and state of the room as a picture, to be looked at one by one.

    .venv/bin/python -m tests.bench.page_pictures FOLDER [STATE…]

Prints for each page its bytes on the wire and the server's time, and every page that scrolls
sideways or made the browser complain.
"""

import gzip
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from tests.conftest import found
from tests.journeys.browser import browser
from tests.journeys.test_pages_seen import ADDRESSES, OF_THE_BOATHOUSE, SIZES, STATES, shown

LIGHTS = ("night", "day")


def asked(address: str) -> tuple[int, float]:
    """Bytes packed, and seconds until the last of them."""
    request = urllib.request.Request(address, headers={"accept-encoding": "gzip"})
    began = time.perf_counter()
    try:
        with urllib.request.urlopen(request) as answer:
            body = answer.read()
    except urllib.error.HTTPError as refusal:
        body = gzip.compress(refusal.read())
    return len(body), time.perf_counter() - began


def main(folder: Path, states: list[str]) -> None:
    program = found("chromium")
    assert program is not None
    folder.mkdir(parents=True, exist_ok=True)
    with browser(program) as tab:
        for state in states:
            with shown(STATES[state]()) as base:
                for place, address in enumerate(ADDRESSES):
                    own = any(part in address for part in OF_THE_BOATHOUSE)
                    if state in {"empty", "sixty"} and own:
                        continue
                    asked(base + address)
                    size, took_s = asked(base + address)
                    print(f"{state:8} {size:7d} B {1000 * took_s:6.0f} ms  {address[:70]}")
                    for light in LIGHTS:
                        tab.ask("Network.setCookie", name="roewatch_theme", value=light, url=base)
                        for name, (width, height) in SIZES.items():
                            tab.size(width, height)
                            tab.open(base + address)
                            wide = tab.run("document.documentElement.scrollWidth")
                            if wide > width:
                                print(f"  SCROLLS SIDEWAYS at {width}: {wide}")
                            word = address.split("?")[0].strip("/").replace("/", "-") or "room"
                            tab.picture(folder / f"{state}-{place:02d}-{word}-{light}-{name}.png")
                tab.open("about:blank")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:] or list(STATES))
