"""The addresses that write the room file: the set-up, moving tanks, calibrating."""

from collections.abc import Callable
from functools import partial
from typing import Any

from starlette.routing import BaseRoute, Route

from roewatch.views.calibrate_page import begin_form, calibrate_form, calibrate_page
from roewatch.views.contact_page import contact_routes
from roewatch.views.pages import Desk
from roewatch.views.setup_page import SetupForms, moving_page, setup_page


def setup_routes(desk: Desk, page: Callable[..., Any], form: Callable[..., Any]) -> list[BaseRoute]:
    """page, form: put a view behind the door, and a deed behind our seal."""
    get = partial(Route, methods=["GET"])
    post = partial(Route, methods=["POST"])
    setup = SetupForms(desk)
    forms = {
        "/setup/broker": setup.broker,
        "/setup/listen": setup.listen,
        "/setup/rack": setup.rack,
        "/setup/reload": setup.again,
        "/setup/tie": setup.tie,
        "/setup/tank": setup.stock,
        "/setup/test": setup.test,
        "/place": setup.place,
        "/water/calibrate": partial(calibrate_form, desk),
        "/water/calibrate/begin": partial(begin_form, desk),
    }
    return [
        get("/setup", page(partial(setup_page, desk))),
        get("/move", page(partial(moving_page, desk))),
        get("/water/calibrate", page(partial(calibrate_page, desk))),
        *(post(where, form(deed)) for where, deed in forms.items()),
        *contact_routes(desk, page, form),
    ]
