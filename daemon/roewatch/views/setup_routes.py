"""The addresses that write the room file: the set-up, moving tanks, calibrating."""

from collections.abc import Callable
from functools import partial
from typing import Any

from starlette.routing import BaseRoute, Route

from roewatch.views.calibrate_page import begin_form, calibrate_form, calibrate_page
from roewatch.views.pages import Desk
from roewatch.views.setup_page import (
    broker_form,
    listen_form,
    moving_page,
    place_form,
    rack_form,
    setup_page,
    stock_form,
    tie_form,
    try_form,
)


def setup_routes(desk: Desk, page: Callable[..., Any], form: Callable[..., Any]) -> list[BaseRoute]:
    """page, form: put a view behind the door, and a deed behind our seal."""
    get = partial(Route, methods=["GET"])
    post = partial(Route, methods=["POST"])
    forms = {
        "/setup/broker": broker_form,
        "/setup/listen": listen_form,
        "/setup/rack": rack_form,
        "/setup/tie": tie_form,
        "/setup/tank": stock_form,
        "/setup/test": try_form,
        "/place": place_form,
        "/water/calibrate": calibrate_form,
        "/water/calibrate/begin": begin_form,
    }
    return [
        get("/setup", page(partial(setup_page, desk))),
        get("/move", page(partial(moving_page, desk))),
        get("/water/calibrate", page(partial(calibrate_page, desk))),
        *(post(where, form(partial(deed, desk))) for where, deed in forms.items()),
    ]
