"""The app: which address shows what, and which form does what."""

import logging
import secrets
from collections.abc import Awaitable, Callable
from functools import partial
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import (
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.views.alarm_page import alarms_page, shelf_end_ms
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.chart import NoPictureError, png, svg
from roewatch.views.coming import coming
from roewatch.views.guard import COOKIE, Guard, Seal
from roewatch.views.pages import STATIC, TOLD, Desk, static_bytes
from roewatch.views.palette import Theme
from roewatch.views.ports import Deeds, Live, Records, Web
from roewatch.views.racks import racks_of
from roewatch.views.sight import Lookout
from roewatch.views.spans import span_of
from roewatch.views.tank_page import page_chart, tank_page
from roewatch.views.week import Look, WindowsOf, deed_words, letter, of_settings

log = logging.getLogger(__name__)

MOST_BODY = 64 * 1024
_TYPES = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "json": "application/manifest+json",
}
_NEXT_EVENTS = 6
_TWICE_MS = MINUTE_MS // 2


def app_of(
    records: Records,
    live: Live,
    deeds: Deeds,
    *,
    settings: Web,
    windows_of: WindowsOf = of_settings,
) -> Starlette:
    """The pages of one room. windows_of: what a tank is judged by in a stage, for past bands."""
    desk = Desk(records, live, deeds, Lookout(records, live, windows_of), settings)
    pages = _Pages(desk, Seal())
    return Starlette(
        routes=pages.routes(),
        middleware=[
            Middleware(Guard, web=settings),
            Middleware(GZipMiddleware, minimum_size=800, compresslevel=5),
        ],
        exception_handlers={
            HTTPException: pages.trouble,
            NotHereError: pages.unknown,
            AskedWrongError: pages.refused,
            Exception: pages.broken,
        },
        max_body_size=MOST_BODY,
    )


View = Callable[[Request], Response]


class _Pages:
    """Every address of the pages. The views are plain functions: Starlette gives them threads."""

    def __init__(self, desk: Desk, seal: Seal) -> None:
        self._desk = desk
        self._seal = seal
        self._stream = desk.stream

    def routes(self) -> list[Route]:
        """The table of addresses."""
        post = partial(Route, methods=["POST"])
        return [
            Route("/", self._sealed(self.room)),
            Route("/tank/{tank}", self._sealed(lambda request: tank_page(self._desk, request))),
            Route("/tank/{tank}/{quantity}.svg", self.picture),
            Route("/tank/{tank}/{quantity}.png", self.picture),
            Route("/alarms", self._sealed(lambda request: alarms_page(self._desk, request))),
            Route("/records", self._sealed(self.records), methods=["GET"]),
            post("/alarms/{number:int}/acknowledge", self._form(self.acknowledge)),
            post("/alarms/{number:int}/shelve", self._form(self.shelve)),
            post("/alarms/{number:int}/unshelve", self._form(self.unshelve)),
            post("/records", self._form(self.enter)),
            post("/theme", self._form(self.theme, anybody=True)),
            Route("/find", self.find),
            Route("/api/live", self.live),
            Route("/static/{name}", self.static),
            Route("/healthz", self.health),
        ]

    # how a page is bound to its browser

    def _sealed(self, view: View) -> View:
        """A page whose forms carry this browser's token."""

        def sealed(request: Request) -> Response:
            cookie = request.cookies.get(COOKIE, "") or secrets.token_urlsafe(18)
            request.scope["roewatch.token"] = self._seal.token(cookie)
            response = view(request)
            if COOKIE not in request.cookies:
                response.set_cookie(COOKIE, cookie, httponly=True, samesite="strict")
            return response

        return sealed

    def _form(
        self, deed: Callable[[Request, dict[str, str]], Response], *, anybody: bool = False
    ) -> Callable[[Request], Awaitable[Response]]:
        """A deed done by one of our own forms; its refusals are pages for the person."""

        async def handled(request: Request) -> Response:
            async with request.form(max_files=0, max_fields=20) as form:
                fields = {name: value for name, value in form.items() if isinstance(value, str)}
            if not self._seal.fits(request.cookies.get(COOKIE, ""), fields.get("token", "")):
                raise HTTPException(
                    403, "This page is older than the program's last start. Go back and reload it."
                )
            if not anybody and not self._desk.may_change(request):
                raise HTTPException(
                    403,
                    "Nothing was changed: until people have passphrases, only the computer the "
                    "daemon runs on may change anything.",
                )
            try:
                return await run_in_threadpool(deed, request, fields)
            except ValueError as refusal:  # the port's word for: not that, and why
                raise AskedWrongError(str(refusal)) from refusal

        return handled

    # pages

    def room(self, request: Request) -> Response:
        """The racks."""
        sight = self._desk.lookout.look()
        plans = [plan for tank in sight.room.tanks for plan in self._desk.records.plans(tank.id)]
        return self._desk.page(
            request,
            "room.html",
            sight,
            racks=racks_of(sight.standings),
            coming=coming(sight, plans)[:_NEXT_EVENTS],
        )

    def records(self, request: Request) -> Response:
        """What was done to one tank, and one tap to add to it."""
        sight = self._desk.lookout.look()
        first = sight.room.tanks[0].id if sight.room.tanks else ""
        wanted = request.query_params.get("tank", first)
        tank = sight.of(wanted).tank if wanted else None
        since = sight.now_ms - 30 * DAY_MS
        entries = self._desk.records.journal(wanted, since, sight.now_ms + 1) if wanted else []
        return self._desk.page(
            request,
            "records.html",
            sight,
            tank=tank,
            entries=entries[::-1],
            letter=letter,
            deed_words=deed_words,
        )

    def find(self, request: Request) -> Response:
        """The tank of that name, however it is written."""
        wanted = request.query_params.get("tank", "").strip()
        tanks = self._desk.live.room().tanks
        folded = wanted.casefold()
        exact = [t for t in tanks if folded in {t.id.casefold(), t.name.casefold()}]
        near = [t for t in tanks if folded and t.id.casefold().startswith(folded)]
        if exact or len(near) == 1:
            return RedirectResponse(f"/tank/{quote((exact or near)[0].id, safe='')}", 303)
        if near:
            names = ", ".join(t.id for t in near[:30])
            raise NotHereError(f"More than one tank begins with {wanted!r}: {names}.")
        raise NotHereError(f"This room has no tank {wanted!r}.")

    async def live(self, request: Request) -> Response:
        """What changes from now on, as server-sent events."""
        last = request.headers.get("last-event-id") or request.query_params.get("last", "")
        return StreamingResponse(
            self._stream.listen(last),
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
        look = Look(theme=Theme(theme), windows_of=self._desk.lookout.windows_of)
        quantity = _quantity(request.path_params["quantity"])
        spec = page_chart(self._desk, sight, request.path_params["tank"], quantity, span, look)
        drawn = svg(spec)
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

    def health(self, _: Request) -> Response:
        """Whether the room is being watched, for machines."""
        link = self._desk.live.link()
        body = {"link": link.word, "since_ms": link.since_ms, "at_ms": self._desk.live.now_ms()}
        return JSONResponse(body, 200 if link.word != "cut off" else 503)

    # deeds

    def _back(self, fields: dict[str, str], told: str, fallback: str = "/") -> Response:
        """To the page the form stood on; only ever a page of ours."""
        back = fields.get("back", fallback)
        if not back.startswith("/") or back.startswith(("//", "/\\")):
            back = fallback
        response = RedirectResponse(back, 303)
        if told:
            response.set_cookie(TOLD, quote(told), max_age=30, httponly=True, samesite="strict")
        return response

    def _by(self) -> str:
        # people get names with their passphrases; until then it is whoever is at this computer
        return "the pages"

    def acknowledge(self, request: Request, fields: dict[str, str]) -> Response:
        """Somebody has seen an alarm."""
        number = request.path_params["number"]
        self._desk.deeds.acknowledge(number, self._by())
        return self._back(fields, f"Alarm {number} acknowledged.", "/alarms")

    def shelve(self, request: Request, fields: dict[str, str]) -> Response:
        """Silence an alarm for a while, with a reason."""
        why = fields.get("why", "").strip()
        if not why:
            raise AskedWrongError("Say why the alarm is shelved, so that the next person knows.")
        number = request.path_params["number"]
        now_ms, zone = self._desk.live.now_ms(), self._desk.live.room().zone
        end_ms = shelf_end_ms(fields.get("until", ""), now_ms, zone)
        self._desk.deeds.shelve(number, end_ms, why[:200], self._by())
        return self._back(fields, f"Alarm {number} shelved.", "/alarms")

    def unshelve(self, request: Request, fields: dict[str, str]) -> Response:
        """End an alarm's silence."""
        number = request.path_params["number"]
        self._desk.deeds.unshelve(number, self._by())
        return self._back(fields, f"Alarm {number} is off the shelf.", "/alarms")

    def enter(self, _: Request, fields: dict[str, str]) -> Response:
        """Record what was done to a tank, once."""
        tank = self._desk.lookout.look().of(fields.get("tank", "")).tank
        offered = {Deed.WATER_CHANGE, Deed.NOTE}
        if fields.get("deed") not in offered:
            raise AskedWrongError("Choose what was done: water change or note.")
        deed, detail = Deed(fields["deed"]), fields.get("detail", "").strip()[:300]
        if deed is Deed.NOTE and not detail:
            raise AskedWrongError("An empty note says nothing; write a word or two.")
        now_ms = self._desk.live.now_ms()
        recent = self._desk.records.journal(tank.id, now_ms - _TWICE_MS, now_ms + 1)
        if any(entry.deed is deed and entry.detail == detail for entry in recent):
            return self._back(fields, f"{tank.id}: that was recorded a moment ago, once.")
        entry = JournalEntry(at_ms=now_ms, tank=tank.id, deed=deed, detail=detail)
        self._desk.deeds.enter(entry)
        return self._back(fields, f"{tank.id}: {deed_words(entry)}, recorded.")

    def theme(self, _: Request, fields: dict[str, str]) -> Response:
        """Read the pages in another light."""
        chosen = fields.get("theme", "")
        response = self._back(fields, "")
        if chosen in {Theme.NIGHT, Theme.DAY, Theme.RED}:
            response.set_cookie(
                "roewatch_theme", chosen, max_age=400 * 86_400, httponly=True, samesite="lax"
            )
        else:
            response.delete_cookie("roewatch_theme")
        return response

    # what goes wrong

    def _sorry(self, request: Request, status: int, title: str, text: str) -> Response:
        sight = self._desk.lookout.look()
        cookie = request.cookies.get(COOKIE, "")
        request.scope.setdefault("roewatch.token", self._seal.token(cookie))
        return self._desk.page(
            request, "trouble.html", sight, status=status, title=title, text=text
        )

    def trouble(self, request: Request, fault: Exception) -> Response:
        """An answer that is not a page, in words."""
        assert isinstance(fault, HTTPException)
        title = "Not here" if fault.status_code == 404 else "That was not done"
        text = fault.detail
        if fault.status_code == 404 and text == "Not Found":
            text = f"This room has no page {request.url.path}."
        return self._sorry(request, fault.status_code, title, text)

    def unknown(self, request: Request, fault: Exception) -> Response:
        """A tank or quantity that is not in the room."""
        return self._sorry(request, 404, "Not here", str(fault))

    def refused(self, request: Request, fault: Exception) -> Response:
        """A deed or an address that cannot be; the fault's text is for the person."""
        return self._sorry(request, 400, "That was not done", str(fault))

    def broken(self, _: Request, fault: Exception) -> Response:
        """Our own fault: a static text with the number its log line carries."""
        reference = secrets.token_hex(4)
        log.error("page_failed reference=%s", reference, exc_info=fault)
        return PlainTextResponse(
            f"This page failed; the log has it under {reference}.\n"
            "The room is still being watched, and alarms still go to the phone.\n"
            "The racks: /\n",
            500,
        )


def _quantity(text: str) -> Quantity:
    if text not in set(Quantity):
        raise NotHereError(f"nothing here measures {text!r}; there are {', '.join(Quantity)}")
    return Quantity(text)
