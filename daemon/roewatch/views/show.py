"""Show: the pages and files that are looked at; none of them changes anything."""

from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse

from roewatch.room.quantity import Quantity
from roewatch.views.asked import AskedWrongError, NotHereError, SeveralError
from roewatch.views.brood_list import open_todos
from roewatch.views.chart import NoPictureError, png, svg
from roewatch.views.coming import coming
from roewatch.views.metrics import MEDIA_TYPE, metrics
from roewatch.views.pages import STATIC, Desk, static_bytes
from roewatch.views.palette import Theme
from roewatch.views.racks import racks_of
from roewatch.views.spans import span_of
from roewatch.views.tank_page import page_chart
from roewatch.views.week import Look

_TYPES = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "json": "application/manifest+json",
}
_NEXT_EVENTS = 6
_MOST_CHOICES = 30


class Show:
    """What can be looked at. The views are plain functions: Starlette gives them threads."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def room(self, request: Request) -> Response:
        """The racks."""
        sight = self._desk.lookout.look()
        plans = [plan for tank in sight.room.tanks for plan in self._desk.records.plans(tank.id)]
        return self._desk.page(
            request,
            "room.html",
            sight,
            racks=racks_of(sight.standings),
            coming=coming(sight, plans, open_todos(self._desk, sight.now_ms))[:_NEXT_EVENTS],
        )

    def find(self, request: Request) -> Response:
        """The tank of that name, however it is written."""
        wanted = request.query_params.get("tank", "").strip()
        tanks = self._desk.live.room().tanks
        folded = wanted.casefold()
        exact = [t for t in tanks if folded and folded in {t.id.casefold(), t.name.casefold()}]
        near = [t for t in tanks if folded and t.id.casefold().startswith(folded)]
        if exact or len(near) == 1:
            return RedirectResponse(f"/tank/{quote((exact or near)[0].id, safe='')}", 303)
        if near:
            raise SeveralError(wanted, [t.id for t in near[:_MOST_CHOICES]])
        raise NotHereError(f"This room has no tank {wanted!r}.")

    async def live(self, request: Request) -> Response:
        """What changes from now on, as server-sent events."""
        last = request.headers.get("last-event-id") or request.query_params.get("last", "")
        return StreamingResponse(
            self._desk.stream.listen(last),
            media_type="text/event-stream",
            headers={"cache-control": "no-store", "x-accel-buffering": "no"},
        )

    def picture(self, request: Request) -> Response:
        """A chart alone, as SVG or PNG."""
        sight = self._desk.lookout.look()
        query = request.query_params
        span = span_of(query.get("span", "7d"), query.get("until", ""), sight.now_ms)
        theme = query.get("theme", Theme.NIGHT)
        if theme not in set(Theme):
            raise AskedWrongError(f"no theme {theme!r}; there are {', '.join(Theme)}")
        tank_id = sight.of(request.path_params["tank"]).tank.id
        look = Look(theme=Theme(theme), judged=True, past=self._desk.past)
        quantity = quantity_of(request.path_params["quantity"])
        drawn = svg(page_chart(self._desk, sight, tank_id, quantity, span, look))
        if request.url.path.endswith(".svg"):
            return Response(drawn, media_type="image/svg+xml")
        try:
            return Response(png(drawn), media_type="image/png")
        except NoPictureError as fault:
            raise HTTPException(501, str(fault)) from fault

    def static(self, request: Request) -> Response:
        """One of our own files, for ever: its address changes with its content."""
        name = request.path_params["name"]
        if name not in STATIC:
            raise HTTPException(404, f"There is no file {name!r}.")
        return Response(
            static_bytes(name),
            media_type=_TYPES[name.rsplit(".", 1)[1]],
            headers={"cache-control": "public, max-age=31536000, immutable"},
        )

    def metrics(self, _: Request) -> Response:
        """The room as OpenMetrics text."""
        sight = self._desk.lookout.look()
        return Response(metrics(sight, self._desk.live.refused()), media_type=MEDIA_TYPE)

    def health(self, _: Request) -> Response:
        """Whether the room is being watched, for machines."""
        link = self._desk.live.link()
        body = {"link": link.word, "since_ms": link.since_ms, "at_ms": self._desk.live.now_ms()}
        return JSONResponse(body, 503 if link.word in {"cut off", "waiting"} else 200)


def quantity_of(text: str) -> Quantity:
    """A quantity as addresses write it. Raises NotHereError for any other word."""
    if text not in set(Quantity):
        raise NotHereError(f"Nothing here measures {text!r}; there are {', '.join(Quantity)}.")
    return Quantity(text)
