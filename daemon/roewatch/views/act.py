"""Act: what a person does on a page, by one of our own forms."""

from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.token import Claim, Unusable, check_claim, read_token
from roewatch.views.alarm_page import shelf_end_ms
from roewatch.views.asked import AskedWrongError
from roewatch.views.door import SESSION
from roewatch.views.pages import TOLD, UNITS, Desk
from roewatch.views.palette import Theme
from roewatch.views.units import CHOICES, Units
from roewatch.views.visitor import Visitor

Fields = dict[str, str]

_YEAR_S = 400 * 86_400


def back(fields: Fields, told: str, fallback: str = "/") -> Response:
    """To the page the form stood on, with one sentence; only ever a page of ours."""
    where = fields.get("back", fallback)
    if not where.startswith("/") or where.startswith(("//", "/\\")):
        where = fallback
    response = RedirectResponse(where, 303)
    if told:
        response.set_cookie(TOLD, quote(told), max_age=30, httponly=True, samesite="strict")
    return response


class Act:
    """Every deed a form can ask for. A port's refusal is a ValueError for the person."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def acknowledge(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Somebody has seen an alarm."""
        number = request.path_params["number"]
        self._desk.deeds.acknowledge(number, by.name)
        return back(fields, f"Alarm {number} acknowledged.", "/alarms")

    def shelve(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Silence an alarm for a while, with a reason."""
        why = fields.get("why", "").strip()
        if not why:
            raise AskedWrongError("Say why the alarm is shelved, so that the next person knows.")
        number = request.path_params["number"]
        now_ms, zone = self._desk.live.now_ms(), self._desk.live.room().zone
        end_ms = shelf_end_ms(fields.get("until", ""), fields.get("own", ""), now_ms, zone)
        self._desk.deeds.shelve(number, end_ms, why[:200], by.name)
        return back(fields, f"Alarm {number} shelved.", "/alarms")

    def unshelve(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """End an alarm's silence."""
        number = request.path_params["number"]
        self._desk.deeds.unshelve(number, by.name)
        return back(fields, f"Alarm {number} is off the shelf.", "/alarms")

    def out_of_service(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Silence an alarm until somebody returns it to service."""
        number, why = request.path_params["number"], fields.get("why", "").strip()[:200]
        if not why:
            raise AskedWrongError("Say why it is out of service, so that the next person knows.")
        self._desk.deeds.out_of_service(number, why, by.name)
        return back(fields, f"Alarm {number} is out of service.", "/alarms")

    def return_to_service(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """End that."""
        number = request.path_params["number"]
        self._desk.deeds.return_to_service(number, by.name)
        return back(fields, f"Alarm {number} is in service again.", "/alarms")

    def reset(self, request: Request, fields: Fields, by: Visitor) -> Response:
        """Close a latched alarm, after looking."""
        number = request.path_params["number"]
        self._desk.deeds.reset(number, by.name)
        return back(fields, f"Alarm {number} is closed.", "/alarms")

    def theme(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """Read the pages in another light."""
        chosen = fields.get("theme", "")
        response = back(fields, "")
        if chosen in {Theme.NIGHT, Theme.DAY, Theme.RED}:
            response.set_cookie(
                "roewatch_theme", chosen, max_age=_YEAR_S, httponly=True, samesite="lax"
            )
        else:
            response.delete_cookie("roewatch_theme")
        return response

    def units(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """Read the pages in other units."""
        chosen = Units.of(".".join(word for word, _ in CHOICES if fields.get(word) == "on"))
        response = back(fields, "")
        if chosen.words:
            response.set_cookie(UNITS, chosen.words, max_age=_YEAR_S, httponly=True, samesite="lax")
        else:
            response.delete_cookie(UNITS)
        return response

    # coming and going

    def log_in(self, request: Request, fields: Fields) -> Response:
        """A name and a passphrase; the right ones open everything."""
        place = request.client.host if request.client else ""
        cookie = self._desk.door.enter(fields.get("name", ""), fields.get("passphrase", ""), place)
        if cookie is None:
            raise AskedWrongError("That name and that passphrase do not belong together.")
        response = back(fields, "")
        response.set_cookie(
            SESSION,
            cookie,
            max_age=_YEAR_S,
            httponly=True,
            samesite="lax",  # a link in a phone's message must open logged in
            secure=request.url.scheme == "https" or self._desk.web.base.startswith("https:"),
        )
        return response

    def log_out(self, _: Request, __: Fields, by: Visitor) -> Response:
        """Leave."""
        self._desk.door.leave(by)
        response = RedirectResponse("/enter", 303)
        response.delete_cookie(SESSION)
        return response

    # the link in a notice

    def _claimed(self, request: Request) -> tuple[Claim, Alarm]:
        """What a link is good for, and its alarm. Raises Unusable for one that is good for none."""
        if not self._desk.link_key:
            raise Unusable("links in messages acknowledge nothing here; open the alarms page")
        token, now_ms = request.path_params["token"], self._desk.live.now_ms()
        claim = read_token(self._desk.link_key, token, now_ms)
        alarm = self._desk.records.alarm(claim.number)
        return claim, check_claim(claim, alarm)

    def seen_page(self, request: Request) -> Response:
        """One alarm and one button; looking changes nothing."""
        claim, alarm = self._claimed(request)
        return self._desk.alone(request, "seen.html", alarm=alarm, by=claim.by, done=False)

    def seen(self, request: Request) -> Response:
        """The button: this person has seen this alarm. The link itself is the proof."""
        claim, alarm = self._claimed(request)
        try:
            self._desk.deeds.acknowledge(claim.number, claim.by)
        except ValueError as refusal:  # somebody was quicker
            raise Unusable(str(refusal)) from refusal
        now = self._desk.records.alarm(claim.number) or alarm
        return self._desk.alone(request, "seen.html", alarm=now, by=claim.by, done=True)
