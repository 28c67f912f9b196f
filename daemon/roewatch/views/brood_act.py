"""The forms of broods' pages: each does one deed and goes back to the page it stood on."""

import re
from urllib.parse import quote, urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from roewatch.breeding.brood import Brood
from roewatch.breeding.count import Count, Counted
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError
from roewatch.views.brood_deeds import BroodDeeds, SaidTwiceError
from roewatch.views.brood_form import counted_of
from roewatch.views.brood_words import record_words
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor


class BroodActing:
    """Forms. A port's refusal is a ValueError for the person."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._deeds = BroodDeeds(desk)

    def _brood(self, request: Request) -> Brood:
        return self._deeds.here(request.path_params["brood"])

    def start(self, _: Request, fields: Fields, by: Visitor) -> Response:
        """Begin a brood."""
        id_, told = self._deeds.start(fields, by.name)
        return back({"back": f"/broods/{quote(id_)}"}, told)

    def record(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Record what was done or seen; a step of a count only turns the number in its box."""
        brood = self._brood(request)
        if "step" in fields:
            return _stepped(brood, fields)
        try:
            return back(fields, self._deeds.record(brood, fields, by.name))
        except SaidTwiceError as twice:
            return self._desk.page(
                request,
                "brood_again.html",
                self._desk.lookout.look(),
                brood=brood,
                words=record_words(twice.record),
                at_ms=twice.record.made_ms,
                fields=fields,
            )

    def undo(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Take a record back, or bring it back."""
        told = self._deeds.withdraw(self._brood(request), fields.get("record", ""), by.name)
        return back(fields, told)

    def correct(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Put a record right."""
        brood = self._brood(request)
        return back(fields, self._deeds.correct(brood, fields.get("record", ""), fields, by.name))

    def end(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """End a brood."""
        return back(fields, self._deeds.end(self._brood(request), fields, by.name))


def _stepped(brood: Brood, fields: Fields) -> Response:
    """One press of - or + without scripts: the page again, with another number in that box."""
    kind = fields.get("counted", "")
    if kind not in set(Counted) or not re.fullmatch(r"-?\d{1,6}", fields["step"]):
        raise AskedWrongError("That step leads nowhere.")
    now = counted_of({"count": fields.get("count", "")}) or Count(low=0, high=0)
    kept = {
        "count": kind,
        "value": str(max(now.low + int(fields["step"]), 0)),
        "about": "on" if fields.get("about") or now.about else "",
        "to": fields.get("to", ""),
    }
    query = urlencode({name: text for name, text in kept.items() if text})
    return RedirectResponse(f"/broods/{quote(brood.id)}?{query}#count-{kind}", 303)
