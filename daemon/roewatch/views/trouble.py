"""Trouble: the answers to what cannot be had, in words, and to our own faults, with a number."""

import logging
import secrets
from collections.abc import Sequence

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from roewatch.views.asked import SeveralError
from roewatch.views.pages import Desk
from roewatch.views.wording import begun

log = logging.getLogger(__name__)

Way = tuple[str, str]
"""An address and the words of the button that leads there."""

TO_THE_ROOM: Way = ("/", "To the room")


class Trouble:
    """Turns each kind of fault into an answer: a page for people, JSON under /api/."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def answer(
        self,
        request: Request,
        status: int,
        title: str,
        text: str,
        *,
        to: Way = TO_THE_ROOM,
        tanks: Sequence[str] = (),
    ) -> Response:
        """One answer in words. to: the way on; tanks: those that may have been meant."""
        if request.url.path.startswith("/api/"):
            return JSONResponse({"error": text}, status)
        said = {"title": title, "text": text, "to": to}
        if self._desk.door.who(request) is None:
            return self._desk.alone(request, "outside.html", status=status, **said)
        sight = self._desk.lookout.look()
        return self._desk.page(request, "trouble.html", sight, status=status, tanks=tanks, **said)

    def http(self, request: Request, fault: Exception) -> Response:
        """An answer that is not a page."""
        assert isinstance(fault, HTTPException)
        title = "Not here" if fault.status_code == 404 else "That was not done"
        text = fault.detail
        if fault.status_code == 404 and text == "Not Found":
            text = f"This room has no page {request.url.path}."
        if fault.status_code == 405:
            text = f"{request.url.path} cannot be asked that way."
        return self.answer(request, fault.status_code, title, text)

    def not_here(self, request: Request, fault: Exception) -> Response:
        """A tank or quantity that is not in the room."""
        return self.answer(request, 404, "Not here", str(fault))

    def several(self, request: Request, fault: Exception) -> Response:
        """A name that more than one tank begins with."""
        assert isinstance(fault, SeveralError)
        return self.answer(request, 404, "Which one?", str(fault), tanks=fault.tanks)

    def refused(self, request: Request, fault: Exception) -> Response:
        """A deed or an address that cannot be; the fault's text is for the person."""
        return self.answer(request, 400, "That was not done", str(fault))

    def spent(self, request: Request, fault: Exception) -> Response:
        """A link in a notice that acknowledges nothing any more; the fault's text says why."""
        said = f"{begun(str(fault))}."
        to = ("/alarms", "To the alarms")
        return self.answer(request, 410, "This link does nothing now", said, to=to)

    def unreadable(self, request: Request, fault: Exception) -> Response:
        """What is kept cannot be read; the fault's text, for those inside, says why.

        Stands by itself: the frame of the other pages would have to read as well.
        """
        log.error("records_unreadable path=%r why=%r", request.url.path, str(fault))
        inside = self._desk.door.who(request) is not None
        text = "The room is still being watched, and alarms still go to the phone."
        if inside:
            text = f"{fault}. {text} Look at the disk: is it full, is it there?"
        if request.url.path.startswith("/api/"):
            return JSONResponse({"error": text}, 503)
        title = "The readings cannot be read"
        again = (request.url.path, "Try again")
        return self._desk.alone(
            request, "outside.html", status=503, title=title, text=text, to=again
        )

    def broken(self, request: Request, fault: Exception) -> Response:
        """Our own fault: a static text with the number its log line carries."""
        reference = secrets.token_hex(4)
        log.error("page_failed reference=%s path=%r", reference, request.url.path, exc_info=fault)
        return PlainTextResponse(
            f"This page failed; the log has it under {reference}.\n"
            "The room is still being watched, and alarms still go to the phone.\n"
            "The racks: /\n",
            500,
        )
