"""A guard: who may ask the pages for what, and what a browser may do with the answer.

Until people have names and passphrases, only this computer may change anything. A page from
elsewhere in the same browser must not either, hence the checks on where a form came from.
"""

import hashlib
import hmac
import ipaddress
import secrets
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from roewatch.views.ports import Web

COOKIE = "roewatch_form"
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Seal:
    """Marks our own forms, by a key of the room's; without one, by one of this process alone."""

    def __init__(self, room_key: bytes = b"") -> None:
        made = hmac.new(room_key, b"forms", hashlib.sha256).digest()
        self._key = made if room_key else secrets.token_bytes(32)

    def token(self, cookie: str) -> str:
        """What a form of the browser with that cookie must carry."""
        return hmac.new(self._key, cookie.encode(), hashlib.sha256).hexdigest()

    def fits(self, cookie: str, token: str) -> bool:
        """Whether a form is one of ours, for that browser."""
        return bool(cookie) and hmac.compare_digest(self.token(cookie), token)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True


def from_here(request: Request) -> bool:
    """Whether the browser runs on this very computer."""
    if "x-forwarded-for" in request.headers or "forwarded" in request.headers:
        return False  # a proxy on this computer speaks for somebody elsewhere
    host = request.client.host if request.client else ""
    return _is_address(host) and ipaddress.ip_address(host).is_loopback


class Guard:
    """Refuses strangers' requests and adds the headers that bind a browser to our own files."""

    def __init__(self, app: ASGIApp, web: Web) -> None:
        self._app = app
        named = urlsplit(web.base).hostname
        self._names = {"localhost", web.host, *([named] if named else [])}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        trouble = self._trouble(scope)
        if trouble:
            await PlainTextResponse(trouble, 403)(scope, receive, send)
            return

        async def bound(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-cache")
            await send(message)

        await self._app(scope, receive, bound)

    def _trouble(self, scope: Scope) -> str:
        """Why a request is refused, or nothing."""
        headers = Headers(scope=scope)
        host = urlsplit(f"//{headers.get('host', '')}").hostname or ""
        if host not in self._names and not _is_address(host):
            # a name we do not know may be a foreign page's, pointed at this address
            return (
                f"This room is not called {host!r} here. Use its number, or set web.address in "
                "room.toml to the name you reach it by.\n"
            )
        if scope["method"] in SAFE:
            return ""
        origin = headers.get("origin", "")
        if headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
            return "That form was on another site. Nothing was changed.\n"
        if origin and urlsplit(origin).netloc != headers.get("host", ""):
            return "That form was on another site. Nothing was changed.\n"
        return ""
