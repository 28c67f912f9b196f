"""Every page in every size, light and state of the room as a picture, to be looked at one by one.

    .venv/bin/python -m tests.bench.page_pictures FOLDER [SCENE…] [--only WORD] [--light LIGHT]

The scenes are those of tests/journeys/scenes.py; each page is drawn in every size and light and, in
the usual room, as it is printed; what it folds is drawn unfolded as well, in the first light.
Prints for each page its bytes on the wire and the server's time, and every page that scrolls
sideways or made the browser complain.
"""

import argparse
import base64
import gzip
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path

import pypdfium2
from tests.conftest import found
from tests.journeys.browser import Browser, browser
from tests.journeys.scenes import (
    AFTER_A_TAP,
    LIGHTS,
    SCENES,
    SIZES,
    UNFOLDED,
    AfterATap,
    lit,
    scene,
)

_A4, _A5 = (8.27, 11.69), (5.83, 8.27)
"""Inches (ISO 216)."""
_MOST_HIGH = 12_000
_FOLDED = "document.querySelector('main details:not([open])') !== null"


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


def word_of(address: str) -> str:
    """A page's address as part of a file's name."""
    word = address.strip("/").replace("/", "-").replace("?", "_") or "room"
    return "".join(c for c in word if c.isalnum() or c in "-_=")[:40]


def printed(tab: Browser, folder: Path, name: str, paper: tuple[float, float]) -> None:
    """The open page as it comes out of a printer, a picture a sheet."""
    answer = tab.ask("Page.printToPDF", paperWidth=paper[0], paperHeight=paper[1])
    document = pypdfium2.PdfDocument(base64.b64decode(answer["data"]))
    for number in range(len(document)):
        document[number].render(scale=1.2).to_pil().save(folder / f"{name}-print-{number + 1}.png")


def seen(tab: Browser, base: str, folder: Path, name: str, light: str, size: str) -> None:
    """The open page in one size."""
    width = SIZES[size][0]
    wide = tab.run("document.documentElement.scrollWidth")
    if wide > width:
        print(f"  SCROLLS SIDEWAYS {light} at {width}: {wide}")
    for complaint in tab.complaints(base):
        if "the server responded with a status of" not in complaint:
            print(f"  COMPLAINS {complaint}")
    high = tab.run("document.documentElement.scrollHeight")
    if high > _MOST_HIGH:
        print(f"  {high} px high at {width}: the picture is of the first screen")
    if high <= _MOST_HIGH:  # a window as high as the page: what is fixed to its edge hides nothing
        tab.size(width, max(high, SIZES[size][1]), phone=width < 700)
    tab.picture(folder / f"{name}-{light}-{size}.png", whole=high <= _MOST_HIGH)
    tab.size(*SIZES[size])


def after_a_tap(
    tab: Browser, folder: Path, one: AfterATap, lights: Sequence[str], sizes: Sequence[str]
) -> None:
    """A page that only a form leads to, in every light and size; each time in a fresh room."""
    name = f"{one.state}-tapped-{word_of(one.address)}-{one.name}"
    print(f"{one.state:8} {one.name} after {one.address}")
    for light in lights:
        for size in sizes:
            with scene(one.state) as base:
                lit(tab, base, light)
                tab.size(*SIZES[size])
                one.show(tab, base)
                seen(tab, base, folder, name, light, size)
                tab.open("about:blank")


def main(
    folder: Path, names: Sequence[str], only: str, lights: Sequence[str], sizes: Sequence[str]
) -> None:
    program = found("chromium")
    assert program is not None
    folder.mkdir(parents=True, exist_ok=True)
    with browser(program) as tab:
        for state in names:
            with scene(state) as base:
                for place, address in enumerate(SCENES[state].addresses):
                    name = f"{state}-{place:02d}-{word_of(address)}"
                    if only not in name:
                        continue
                    asked(base + address)
                    size, took_s = asked(base + address)
                    print(f"{state:8} {size:7d} B {1000 * took_s:6.0f} ms  {address[:70]}")
                    for light in lights:
                        lit(tab, base, light)
                        for size_name in sizes:
                            tab.size(*SIZES[size_name])
                            tab.open(base + address)
                            seen(tab, base, folder, name, light, size_name)
                            if light == lights[0] and tab.run(_FOLDED):
                                tab.run(UNFOLDED)
                                seen(tab, base, folder, f"{name}-unfolded", light, size_name)
                    if state == "usual" and len(sizes) > 1:
                        small = "sheet" in address or "card" in address
                        printed(tab, folder, name, _A5 if small else _A4)
                tab.open("about:blank")
            for one in AFTER_A_TAP:
                if one.state == state and only in f"{state}-tapped-{one.address}-{one.name}":
                    after_a_tap(tab, folder, one, lights, sizes)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("scenes", nargs="*", choices=[*SCENES, []])
    parser.add_argument("--only", default="", help="pages whose picture's name holds this")
    parser.add_argument("--light", choices=LIGHTS, action="append")
    parser.add_argument("--size", choices=SIZES, action="append")
    said = parser.parse_args()
    main(
        said.folder,
        said.scenes or list(SCENES),
        said.only,
        tuple(said.light or LIGHTS),
        tuple(said.size or SIZES),
    )
