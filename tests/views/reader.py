"""A reader of pages: a browser without scripts, the forms it is shown, and the words."""

import re
from html.parser import HTMLParser
from typing import Any

from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.room_of_broods import Nursery
from tests.views.room_of_glass import PAST, GlassDeeds, GlassLive, GlassRecords

from roewatch.views.app import app_of

BASE = "http://127.0.0.1:8420"
Glass = tuple[GlassRecords, GlassLive, GlassDeeds]

_BOXES = {"checkbox", "radio"}


def client_of(room: Glass | Nursery, *, host: str = "127.0.0.1", **more: Any) -> TestClient:
    """The pages of a room, with its broods if it keeps any. more: what `app_of` takes beside."""
    records, live, deeds, *broods = room
    if broods:
        more["broods"] = broods[0]
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST, **more)
    return TestClient(app, base_url=BASE, client=(host, 50000))


class Forms(HTMLParser):
    """Every form of a page: where it goes, and what it sends untouched."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.found.append((given.get("action", ""), {}))
        if tag == "input" and self.found and "name" in given:
            box = given.get("type") in _BOXES
            if box and "checked" not in given:
                return
            self.found[-1][1][given["name"]] = given.get("value", "on" if box else "")

    def __getitem__(self, action: str) -> dict[str, str]:
        return next(fields for where, fields in self.found if where == action)

    def that(self, action: str, **fields: str) -> dict[str, str]:
        """The first form to that address which holds these fields."""
        for where, holds in self.found:
            if where == action and all(holds.get(n) == text for n, text in fields.items()):
                return dict(holds)
        raise AssertionError(f"the page has no form to {action} with {fields}")


def words(text: str) -> str:
    """What a person reads of a page."""
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def cell(text: str, tank_id: str) -> str:
    """What a person reads of one tank on the racks."""
    found = re.search(rf'id="t-{tank_id}".*?</a>', text, re.DOTALL)
    assert found is not None
    return words("<" + found[0])
