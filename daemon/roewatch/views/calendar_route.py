"""The calendar's address: a feed a phone may fetch without logging in, by a key of its owner's."""

import base64
import hashlib
import hmac
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from roewatch.views.calendar import MEDIA_TYPE, calendar_text
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor

PATH = "/calendar.ics"


def calendar_address(desk: Desk, visitor: Visitor | None) -> str:
    """Where `visitor` subscribes, as a path; "" for nobody.

    Once people log in it carries a key: whoever has the whole address reads the feed and nothing
    else, until that person's entry in the settings goes.
    """
    if visitor is None:
        return ""
    if not desk.door.locked:
        return PATH
    query = {"for": visitor.name, "key": _key(desk.link_key, visitor.name)}
    return f"{PATH}?{urlencode(query)}"


def calendar_route(desk: Desk) -> Route:
    """The feed."""

    def calendar(request: Request) -> Response:
        if not _may_read(desk, request):
            return PlainTextResponse(
                "This calendar address is not, or no longer, one of ours. Log in, open Broods and "
                "copy the address anew.\n",
                403,
            )
        events = desk.broods.calendar(desk.live.now_ms())
        name = f"Broods of {desk.live.room().name}"
        text = calendar_text(events.values(), name=name, address=desk.web.base)
        mark = f'"{hashlib.sha256(text.encode()).hexdigest()[:24]}"'
        headers = {"ETag": mark, "Cache-Control": "private, no-cache"}
        if request.headers.get("if-none-match") == mark:
            return Response(status_code=304, headers=headers)
        return Response(text, media_type=MEDIA_TYPE, headers=headers)

    return Route(PATH, calendar, methods=["GET"])


def _may_read(desk: Desk, request: Request) -> bool:
    if desk.door.who(request) is not None:
        return True
    name, key = (request.query_params.get(part, "") for part in ("for", "key"))
    # the key is compared whether or not the name is known, so that neither can be told apart
    fits = hmac.compare_digest(_key(desk.link_key, name).encode(), key.encode())
    return fits and bool(desk.link_key) and desk.door.knows(name)


def _key(secret: bytes, name: str) -> str:
    text = b"roewatch calendar\n" + name.casefold().encode()
    digest = hmac.new(secret, text, hashlib.sha256).digest()[:16]
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")
