"""The addresses of broods: pages, forms, documents."""

from collections.abc import Awaitable, Callable
from functools import partial

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from roewatch.views.act import Fields
from roewatch.views.brood_act import BroodActing
from roewatch.views.brood_api import brood_api_routes
from roewatch.views.brood_list import brood_list, brood_new
from roewatch.views.brood_page import brood_page
from roewatch.views.brood_paper import brood_sheet, report_page
from roewatch.views.calendar_route import calendar_route
from roewatch.views.compare_page import compare_page
from roewatch.views.pages import Desk
from roewatch.views.sitter import sitter_sheet
from roewatch.views.visitor import Visitor

View = Callable[[Request], Response]
Deed = Callable[[Request, Fields, Visitor], Response]


def brood_routes(
    desk: Desk,
    page: Callable[[View], View],
    form: Callable[[Deed], Callable[[Request], Awaitable[Response]]],
) -> list[BaseRoute]:
    """The table. page: puts a view behind the door; form: a deed behind the door and our seal."""
    act = BroodActing(desk)
    get = partial(Route, methods=["GET"])
    post = partial(Route, methods=["POST"])
    one = "/broods/{brood}"
    return [
        get("/broods", page(partial(brood_list, desk))),
        post("/broods", form(act.start)),
        get("/broods/compare", page(partial(compare_page, desk))),
        get("/broods/new", page(partial(brood_new, desk))),
        get(one, page(partial(brood_page, desk))),
        get(f"{one}/report", page(partial(report_page, desk))),
        get(f"{one}/report.pdf", page(partial(report_page, desk))),
        get(f"{one}/sheet", page(partial(brood_sheet, desk))),
        get("/sitter", page(partial(sitter_sheet, desk))),
        calendar_route(desk),
        post(f"{one}/records", form(act.record)),
        post(f"{one}/undo", form(act.undo)),
        post(f"{one}/correct", form(act.correct)),
        post(f"{one}/end", form(act.end)),
        *brood_api_routes(desk),
    ]
