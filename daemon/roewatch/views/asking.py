"""Asking: how a script's request reaches a read or a deed, and who may send it."""

import json
from collections.abc import Callable, Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.body import Body
from roewatch.views.door import Door
from roewatch.views.visitor import Visitor
from roewatch.views.wire import Json

Path = Mapping[str, Any]
Asked = Callable[[Request], Any]


class Asking:
    """Puts reads and deeds behind the door."""

    def __init__(self, door: Door) -> None:
        self._door = door

    def reading(self, view: Callable[[Request], Response]) -> Callable[[Request], Response]:
        """A read, for those who may look."""

        def asked(request: Request) -> Response:
            self._visitor(request)
            return view(request)

        return asked

    def deed(
        self,
        deed: Callable[[int, Body, Visitor], None],
        allowed: Callable[[Visitor], bool] = lambda visitor: visitor.may_change,
    ) -> Asked:
        """A deed on what the address numbers."""

        def numbered(path: Path, body: Body, by: Visitor) -> None:
            number = int(path.get("number", 0))
            if number >= 2**63:
                raise NotHereError(f"There is nothing numbered {number}.")
            deed(number, body, by)

        return self.doing(numbered, allowed)

    def question(self, answer: Callable[[Path, Body, Visitor], Json]) -> Asked:
        """Something reckoned from what is sent, for those who may look; nothing changes."""
        return self.doing(answer, lambda _: True)

    def doing(
        self,
        deed: Callable[[Path, Body, Visitor], Json | str | None],
        allowed: Callable[[Visitor], bool] = lambda visitor: visitor.may_change,
    ) -> Asked:
        """A deed by JSON, for those who may. A form of another site cannot send this type.

        deed: gets the parts of the address and the body; what it tells is answered as `said`.
        """

        async def asked(request: Request) -> Response:
            visitor = self._visitor(request)
            if not allowed(visitor):
                raise HTTPException(403, "Nothing was changed: you may look here.")
            typed = request.headers.get("content-type", "").split(";")[0].strip()
            if request.method != "DELETE" and typed != "application/json":
                raise HTTPException(415, "Send JSON, with content-type: application/json")
            try:
                body = json.loads(await request.body() or b"{}")
            except (ValueError, RecursionError) as fault:
                raise AskedWrongError(f"the body is no JSON: {fault}") from fault
            if not isinstance(body, dict):
                raise AskedWrongError("the body must be a JSON object")
            told = await run_in_threadpool(_done, deed, request.path_params, body, visitor)
            if isinstance(told, dict):
                return JSONResponse(told)
            return JSONResponse({"done": True} | ({"said": told} if told else {}))

        return asked

    def _visitor(self, request: Request) -> Visitor:
        visitor = self._door.who(request)
        if visitor is None:
            raise HTTPException(401, "Log in, or send a token: Authorization: Bearer …")
        return visitor


def _done(
    deed: Callable[[Path, Body, Visitor], Json | str | None], path: Path, body: Body, by: Visitor
) -> Json | str | None:
    try:
        return deed(path, body, by)
    except ValueError as refusal:  # the port's word for: not that, and why
        raise AskedWrongError(str(refusal)) from refusal
