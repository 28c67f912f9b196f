"""Broods for scripts: what their pages show and do, as JSON."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from roewatch.breeding.todo import in_order
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError
from roewatch.views.asking import Asking
from roewatch.views.brood_deeds import BroodDeeds
from roewatch.views.brood_form import brood_here
from roewatch.views.brood_wire import brood_json, comparison_json, todo_json, whole_json
from roewatch.views.compare_page import asked_of, comparison_of
from roewatch.views.pages import Desk
from roewatch.views.wire import Json

_MOST_TEXT = 300
_TEXTS = frozenset(
    {
        "id", "act", "time", "tank", "detail", "counted", "count", "who", "about", "to", "again",
        "outcome", "species", "parents", "water", "food", "light", "stage", "brood",
        "plan_parents", "plan_water", "plan_food", "plan_light",
    }
)  # fmt: skip

Deed = Callable[[Mapping[str, str], Fields, str], Json | str]


def _fields(body: Mapping[str, object]) -> Fields:
    """The texts of a body. Raises AskedWrongError for anything that is none, or unknown."""
    strange = sorted(str(name)[:40] for name in body.keys() - _TEXTS)
    if strange:
        raise AskedWrongError(f"there is nothing called {', '.join(strange)} to be told")
    for name, value in body.items():
        if not isinstance(value, str) or len(value) > _MOST_TEXT:
            raise AskedWrongError(f"{name}: a text of at most {_MOST_TEXT} characters")
    return {name: str(value) for name, value in body.items()}


class BroodApi:
    """Reads and deeds; whoever may look may read, and deeds ask for the pages' own right."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._deeds = BroodDeeds(desk)

    def broods(self, request: Request) -> Response:
        """Broods, by when they began."""
        state = request.query_params.get("state", "open")
        if state not in {"open", "all"}:
            raise AskedWrongError(f"state: {state!r} is neither open nor all")
        found = self._desk.broods.broods()
        return JSONResponse([brood_json(b) for b in found if b.open or state == "all"])

    def brood(self, request: Request) -> Response:
        """One brood with its clocks and records."""
        brood = brood_here(self._desk, request.path_params["brood"])
        now_ms = self._desk.live.now_ms()
        return JSONResponse(whole_json(brood, self._desk.broods.outlook(brood, now_ms), now_ms))

    def todos(self, _: Request) -> Response:
        """What all broods under way ask for."""
        now_ms = self._desk.live.now_ms()
        found = [
            todo
            for brood in self._desk.broods.broods()
            if brood.open
            for todo in self._desk.broods.outlook(brood, now_ms).todos
        ]
        return JSONResponse([todo_json(todo, now_ms) for todo in in_order(found)])

    def comparison(self, request: Request) -> Response:
        """What the broods of one species say of one factor."""
        broods = self._desk.broods.broods()
        asked = asked_of(request.query_params, broods)
        found = comparison_of(self._desk, asked, broods)
        return JSONResponse(comparison_json(found, asked.species))

    def start(self, _: Mapping[str, str], fields: Fields, by: str) -> Json:
        """Begin a brood."""
        id_, told = self._deeds.start(fields, by)
        return {"done": True, "said": told, "brood": id_}

    def record(self, path: Mapping[str, str], fields: Fields, by: str) -> str:
        """Record what was done or seen."""
        return self._deeds.record(self._deeds.here(path["brood"]), fields, by)

    def correct(self, path: Mapping[str, str], fields: Fields, by: str) -> str:
        """Put a record right."""
        return self._deeds.correct(self._deeds.here(path["brood"]), path["record"], fields, by)

    def withdraw(self, path: Mapping[str, str], _: Fields, by: str) -> str:
        """Take a record back, or bring back what was taken."""
        return self._deeds.withdraw(self._deeds.here(path["brood"]), path["record"], by)

    def end(self, path: Mapping[str, str], fields: Fields, by: str) -> str:
        """End a brood."""
        return self._deeds.end(self._deeds.here(path["brood"]), fields, by)


def brood_api_routes(desk: Desk) -> list[BaseRoute]:
    """The addresses under /api that speak of broods."""
    broods, asking = BroodApi(desk), Asking(desk.door)

    def deed(done: Deed) -> Callable[[Request], Any]:
        return asking.doing(lambda path, body, by: done(path, _fields(body), by.name))

    get, post = (partial(Route, methods=[method]) for method in ("GET", "POST"))
    one, record = "/api/broods/{brood}", "/api/broods/{brood}/records/{record}"
    return [
        get("/api/todos", asking.reading(broods.todos)),
        get("/api/comparison", asking.reading(broods.comparison)),
        get("/api/broods", asking.reading(broods.broods)),
        post("/api/broods", deed(broods.start)),
        get(one, asking.reading(broods.brood)),
        post(f"{one}/records", deed(broods.record)),
        Route(record, deed(broods.correct), methods=["PUT"]),
        Route(record, deed(broods.withdraw), methods=["DELETE"]),
        post(f"{one}/end", deed(broods.end)),
    ]
