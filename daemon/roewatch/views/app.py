"""The app: which address shows what, and which form does what, for whom."""

import secrets
from collections.abc import Awaitable, Callable
from functools import partial
from typing import ParamSpec, TypeVar
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from roewatch.alarms.token import Unusable
from roewatch.views.act import Act, Fields
from roewatch.views.alarm_life import alarm_life
from roewatch.views.alarm_page import alarms_page
from roewatch.views.api import Api
from roewatch.views.asked import AskedWrongError, NotHereError, SeveralError
from roewatch.views.asking import Asking
from roewatch.views.brood_ports import NO_BROODS, BroodBook
from roewatch.views.brood_routes import brood_routes
from roewatch.views.door import Door
from roewatch.views.guard import COOKIE, Guard, Seal
from roewatch.views.pages import Desk
from roewatch.views.performance_page import performance_page
from roewatch.views.ports import Deeds, Live, Records, Web
from roewatch.views.ramp_page import end_ramp, ramp_card, ramp_page, start_ramp
from roewatch.views.records_page import Recording, record_page, records_page
from roewatch.views.setup_api import setup_api_routes
from roewatch.views.setup_ports import Workshop
from roewatch.views.setup_routes import setup_routes
from roewatch.views.show import Show
from roewatch.views.tank_page import tank_page
from roewatch.views.trouble import Trouble
from roewatch.views.visitor import NOBODY, Access, Visitor
from roewatch.views.water_api import water_api_routes
from roewatch.views.water_page import water_page
from roewatch.views.week import Past

MOST_BODY = 64 * 1024
UNKNOWN = Past()

P = ParamSpec("P")
R = TypeVar("R")

View = Callable[[Request], Response]
Handled = Callable[[Request], Awaitable[Response]]
Deed = Callable[[Request, Fields, Visitor], Response]


def app_of(  # noqa: PLR0913  # the ports of one room, by name
    records: Records,
    live: Live,
    deeds: Deeds,
    *,
    settings: Web,
    past: Past = UNKNOWN,
    access: Access = NOBODY,
    broods: BroodBook = NO_BROODS,
    workshop: Workshop | None = None,
    unreadable: type[Exception] = OSError,
) -> Starlette:
    """The pages of one room.

    past: what the bands of the past are drawn from.
    access: who may come in. broods: the broods that are kept.
    workshop: what writes the room file; None where nothing may. unreadable: what the records
        raise when they cannot be read.
    """
    desk = Desk(
        records,
        live,
        deeds,
        web=settings,
        past=past,
        door=Door(
            access.people,
            access.programs,
            shelf=access.shelf,
            wall_s=lambda: live.now_ms() / 1000,
        ),
        link_key=access.link_key,
    )
    desk.broods, desk.workshop = broods, workshop
    trouble = Trouble(desk)
    return Starlette(
        routes=_Addresses(desk).routes(),
        middleware=[
            Middleware(Guard, web=settings),
            Middleware(GZipMiddleware, minimum_size=800, compresslevel=5),
        ],
        exception_handlers={
            HTTPException: trouble.http,
            NotHereError: trouble.not_here,
            SeveralError: trouble.several,
            AskedWrongError: trouble.refused,
            Unusable: trouble.spent,
            unreadable: trouble.unreadable,
            Exception: trouble.broken,
        },
        max_body_size=MOST_BODY,
    )


class _Addresses:
    """Every address, behind the door and with our seal on its forms."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._seal = Seal(desk.link_key)

    def routes(self) -> list[BaseRoute]:
        """The table of addresses."""
        show, act, desk = Show(self._desk), Act(self._desk), self._desk
        recording = Recording(desk)
        get = partial(Route, methods=["GET"])
        post = partial(Route, methods=["POST"])
        seen = partial(self._form, allowed=lambda visitor: visitor.may_acknowledge)
        return [
            get("/", self._page(show.room)),
            get("/tank/{tank}", self._page(partial(tank_page, desk))),
            get("/tank/{tank}/{quantity}.svg", self._page(show.picture)),
            get("/tank/{tank}/{quantity}.png", self._page(show.picture)),
            get("/alarms", self._page(partial(alarms_page, desk))),
            get("/alarms/performance", self._page(partial(performance_page, desk))),
            get("/alarms/{number:int}", self._page(partial(alarm_life, desk))),
            get("/water", self._page(partial(water_page, desk))),
            get("/water/ramp", self._page(partial(ramp_page, desk))),
            get("/water/card", self._page(partial(ramp_card, desk))),
            post("/water/ramp", self._form(partial(start_ramp, desk))),
            post("/water/ramp/end", self._form(partial(end_ramp, desk))),
            get("/records", self._page(partial(records_page, desk))),
            get("/records/{number:int}", self._page(partial(record_page, desk))),
            get("/find", self._page(show.find)),
            post("/alarms/{number:int}/acknowledge", seen(act.acknowledge)),
            post("/alarms/{number:int}/shelve", self._form(act.shelve)),
            post("/alarms/{number:int}/unshelve", self._form(act.unshelve)),
            post("/alarms/{number:int}/out-of-service", self._form(act.out_of_service)),
            post("/alarms/{number:int}/return", self._form(act.return_to_service)),
            post("/alarms/{number:int}/reset", self._form(act.reset)),
            post("/records", self._form(recording.enter)),
            post("/records/{number:int}", self._form(recording.correct)),
            post("/records/{number:int}/withdraw", self._form(recording.withdraw)),
            post("/theme", self._form(act.theme, allowed=lambda _: True)),
            post("/units", self._form(act.units, allowed=lambda _: True)),
            post("/leave", self._form(act.log_out, allowed=lambda _: True)),
            get("/enter", self._open(lambda request: desk.alone(request, "enter.html"))),
            post("/enter", self._entering(act)),
            get("/acknowledge/{token}", act.seen_page),
            post("/acknowledge/{token}", act.seen),
            *brood_routes(desk, self._page, self._form),
            *setup_routes(desk, self._page, self._form),
            *self._api_routes(),
            *setup_api_routes(desk),
            *water_api_routes(desk),
            get("/api/live", self._streamed(show.live)),
            get("/static/{name}", show.static),
            get("/healthz", show.health),
            get("/metrics", self._inside(show.metrics)),
        ]

    def _api_routes(self) -> list[BaseRoute]:
        api, asking = Api(self._desk), Asking(self._desk.door)
        get = partial(Route, methods=["GET"])
        post = partial(Route, methods=["POST"])
        number, record = "/api/alarms/{number:int}", "/api/journal/{number:int}"
        seen = asking.deed(api.acknowledge, lambda visitor: visitor.may_acknowledge)
        return [
            get("/api", api.about),
            get("/api/room", asking.reading(api.room)),
            get("/api/tanks/{tank}", asking.reading(api.tank)),
            get("/api/tanks/{tank}/{quantity}", asking.reading(api.readings)),
            get("/api/alarms", asking.reading(api.alarms)),
            get("/api/refused", asking.reading(api.refused)),
            get("/api/performance", asking.reading(api.performance)),
            get(number, asking.reading(api.alarm)),
            post(f"{number}/acknowledge", seen),
            post(f"{number}/shelve", asking.deed(api.shelve)),
            post(f"{number}/unshelve", asking.deed(api.unshelve)),
            post(f"{number}/out-of-service", asking.deed(api.out_of_service)),
            post(f"{number}/return", asking.deed(api.return_to_service)),
            post(f"{number}/reset", asking.deed(api.reset)),
            get("/api/journal", asking.reading(api.journal)),
            post("/api/journal", asking.deed(api.enter)),
            Route(record, asking.deed(api.correct), methods=["PUT"]),
            Route(record, asking.deed(api.withdraw), methods=["DELETE"]),
        ]

    def _marked(self, view: View, request: Request) -> Response:
        """A page whose forms carry this browser's token."""
        cookie = request.cookies.get(COOKIE, "") or secrets.token_urlsafe(18)
        request.scope["roewatch.token"] = self._seal.token(cookie)
        response = view(request)
        if COOKIE not in request.cookies:
            response.set_cookie(COOKIE, cookie, httponly=True, samesite="lax")
        return response

    def _open(self, view: View) -> View:
        """A page for anybody."""
        return lambda request: self._marked(view, request)

    def _page(self, view: View) -> View:
        """A page for those who are inside; others are asked for their passphrase first."""

        def behind_the_door(request: Request) -> Response:
            if self._desk.door.who(request) is None:
                query = f"?{request.url.query}" if request.url.query else ""
                return RedirectResponse(f"/enter?back={quote(request.url.path + query)}", 303)
            return self._marked(view, request)

        return behind_the_door

    def _inside(self, view: View) -> View:
        """Something for programs inside; others get a refusal, not a page to log in on."""

        def behind_the_door(request: Request) -> Response:
            if self._desk.door.who(request) is None:
                return JSONResponse({"error": "log in first, or send a token"}, 401)
            return view(request)

        return behind_the_door

    def _streamed(self, view: Handled) -> Handled:
        async def behind_the_door(request: Request) -> Response:
            if self._desk.door.who(request) is None:
                return JSONResponse({"error": "log in first"}, 401)
            return await view(request)

        return behind_the_door

    async def _fields(self, request: Request) -> Fields:
        """The fields of one of our own forms. Raises HTTPException for any other."""
        async with request.form(max_files=0, max_fields=60) as form:
            fields = {name: value for name, value in form.items() if isinstance(value, str)}
        if not self._seal.fits(request.cookies.get(COOKIE, ""), fields.get("token", "")):
            raise HTTPException(
                403, "This page is older than the program's last start. Go back and reload it."
            )
        return fields

    def _form(
        self, deed: Deed, *, allowed: Callable[[Visitor], bool] = lambda v: v.may_change
    ) -> Handled:
        """A deed by one of our own forms, for those who may."""

        async def handled(request: Request) -> Response:
            fields = await self._fields(request)
            visitor = self._desk.door.who(request)
            if visitor is None:
                return RedirectResponse("/enter", 303)
            if not allowed(visitor):
                raise HTTPException(403, _not_allowed(locked=self._desk.door.locked))
            return await run_in_threadpool(_refusable(deed), request, fields, visitor)

        return handled

    def _entering(self, act: Act) -> Handled:
        """Logging in: a wrong passphrase is told on the same page."""

        async def handled(request: Request) -> Response:
            fields = await self._fields(request)
            try:
                return await run_in_threadpool(act.log_in, request, fields)
            except ValueError as refusal:
                page = partial(
                    self._desk.alone,
                    name="enter.html",
                    status=403,
                    said=str(refusal),
                    back=fields.get("back", "/"),
                )
                return await run_in_threadpool(self._marked, page, request)

        return handled


def _refusable(deed: Callable[P, R]) -> Callable[P, R]:
    """A deed whose refusal, in the port's words, becomes an answer for the person."""

    def tried(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return deed(*args, **kwargs)
        except ValueError as refusal:
            raise AskedWrongError(str(refusal)) from refusal

    return tried


def _not_allowed(*, locked: bool) -> str:
    if locked:
        return "Nothing was changed: you may look here, and somebody else may change things."
    return (
        "Nothing was changed: until people have passphrases, only the computer the daemon runs "
        "on may change anything."
    )
