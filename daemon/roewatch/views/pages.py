"""Pages: the room, a tank, the alarms and the records, drawn on the server."""

import hashlib
import re
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files
from urllib.parse import unquote
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from roewatch.alarms.alarm import State
from roewatch.alarms.rationale import rationale_of
from roewatch.room.moment import span_text
from roewatch.room.quantity import KEPT, Quantity
from roewatch.views import wording
from roewatch.views.brood_ports import NO_BROODS, BroodBook
from roewatch.views.door import Door
from roewatch.views.palette import Theme
from roewatch.views.ports import Deeds, Live, Records, Web
from roewatch.views.sentence import own_numbers, sentence
from roewatch.views.setup_ports import Workshop
from roewatch.views.sight import Lookout, Sight
from roewatch.views.standing import alarm_words
from roewatch.views.stream import Drawn, Stream
from roewatch.views.units import CHOICES, KEPT_UNITS, Units
from roewatch.views.week import Past

UNITS = "roewatch_units"
TOLD = "roewatch_told"
"""The cookie that carries one sentence from a form to the page after it."""

STATIC = (
    "room.css", "room.js", "brood.css", "brood.js", "paper.css", "marks.svg", "icon.svg",
    "manifest.json",
)  # fmt: skip


def static_bytes(name: str) -> bytes:
    """One of our own files. Raises KeyError for any other name."""
    if name not in STATIC:
        raise KeyError(name)
    return (files("roewatch.views") / "static" / name).read_bytes()


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One of the places every page leads to."""

    name: str
    href: str
    key: str


PLACES = (
    Place(name="Room", href="/", key="r"),
    Place(name="Alarms", href="/alarms", key="a"),
    Place(name="Broods", href="/broods", key="b"),
    Place(name="Water", href="/water", key="w"),
    Place(name="Records", href="/records", key="e"),
)


class Words:
    """Times and numbers in a page's own moment and zone."""

    def __init__(self, now_ms: int, zone: ZoneInfo) -> None:
        self._now_ms = now_ms
        self._zone = zone

    def clock(self, at_ms: int) -> str:
        """`14:02`."""
        return wording.clock(at_ms, self._zone)

    def exact(self, at_ms: int) -> str:
        """`14:02:07`."""
        return wording.exact(at_ms, self._zone)

    def day(self, at_ms: int) -> str:
        """`12 Nov 2026`."""
        return wording.day(at_ms, self._zone)

    def when(self, at_ms: int) -> str:
        """`14:02`, or with the day when that is not today."""
        return wording.when(at_ms, self._now_ms, self._zone)

    def ago(self, at_ms: int) -> str:
        """`12 min ago`."""
        return wording.age(at_ms, self._now_ms)

    def for_so_long(self, at_ms: int) -> str:
        """`12 min`, since that moment."""
        return wording.whole_span(self._now_ms - at_ms)

    def until(self, at_ms: int) -> str:
        """`3 h 10 min`, until that moment."""
        return wording.whole_span(at_ms - self._now_ms)


@cache
def environment(units: Units) -> Environment:
    """Our templates; every value is escaped, and every text of the core is told in `units`."""
    env = Environment(
        loader=PackageLoader("roewatch.views", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=partial(_told_in, units) if units.words else None,
    )
    env.filters["written"] = partial(_written, units)
    env.filters["begun"] = wording.begun
    versions = {n: hashlib.sha256(static_bytes(n)).hexdigest()[:10] for n in STATIC}
    env.globals["static"] = lambda name: f"/static/{name}?v={versions[name]}"
    env.globals["number"] = units.number
    env.globals["shown"] = units.shown
    env.globals["species_name"] = wording.species_name
    env.globals["window_text"] = units.window_text
    env.globals["own_numbers"] = partial(own_numbers, units=units)
    env.globals["alarm_words"] = alarm_words
    env.globals["rationale_of"] = rationale_of
    env.globals["span_text"] = span_text
    env.globals["State"] = State
    env.globals["kept"] = KEPT
    env.globals["units"] = units
    env.globals["unit_choices"] = CHOICES
    env.globals["Quantity"] = Quantity
    return env


def _told_in(units: Units, value: object) -> object:
    """What a template is about to write. Markup was told when it was drawn."""
    return sentence(value, units) if type(value) is str else value


_WHOLE = re.compile(r"\d[\d.]*-\d[\d.]*|\d[\d.]* (?:%|(?:d|h|min|s)\b)")
"""A range, or a number with its unit."""
_COMMAND = re.compile(r"`([^`]+)`")


def _written(units: Units, text: str) -> Markup:
    """A sentence of the core in `units`: commands as such, `24-27` and `40 h` each on one line."""
    told = str(escape(_told_in(units, text)))
    whole = _WHOLE.sub(r'<span class="whole">\g<0></span>', told)
    return Markup(_COMMAND.sub(r"<code>\1</code>", whole))  # noqa: S704 escaped above


class Desk:
    """What every page is made with: the ports, the templates and the room's sight."""

    def __init__(
        self,
        records: Records,
        live: Live,
        deeds: Deeds,
        *,
        web: Web,
        door: Door,
        past: Past,
        link_key: bytes = b"",
    ) -> None:
        self.broods: BroodBook = NO_BROODS
        self.workshop: Workshop | None = None
        self.records = records
        self.live = live
        self.deeds = deeds
        self.lookout = Lookout(records, live)
        self.web = web
        self.stream = Stream(self.lookout, live, self.draw)
        self.door = door
        self.past = past
        self.link_key = link_key

    def page(
        self, request: Request, name: str, sight: Sight, *, status: int = 200, **more: object
    ) -> Response:
        """A whole page. more: what its template needs beyond the frame."""
        response = HTMLResponse(self.fragment(request, name, sight, **more), status)
        if TOLD in request.cookies:
            response.delete_cookie(TOLD)
        return response

    def fragment(self, request: Request, name: str, sight: Sight, **more: object) -> Markup:
        """A template filled in."""
        visitor = self.door.who(request)
        units = units_of(request)
        context = {
            "sight": sight,
            "room": sight.room,
            "say": Words(sight.now_ms, ZoneInfo(sight.room.zone)),
            "theme": theme_of(request),
            "places": PLACES,
            "here": request.url.path,
            "token": request.scope.get("roewatch.token", ""),
            "visitor": visitor,
            "locked": self.door.locked,
            "may_change": visitor is not None and visitor.may_change,
            "may_acknowledge": visitor is not None and visitor.may_acknowledge,
            "seen": self.stream.publish(sight),
            "told": unquote(request.cookies.get(TOLD, "")),
        }
        drawn = environment(units).get_template(name).render(context | more)
        return Markup(drawn)  # noqa: S704 the templates escape every value

    def alone(self, request: Request, name: str, *, status: int = 200, **more: object) -> Response:
        """A page that stands by itself, for somebody who is not inside yet."""
        room, now_ms = self.live.room(), self.live.now_ms()
        context = {
            "room": room,
            "say": Words(now_ms, ZoneInfo(room.zone)),
            "theme": theme_of(request),
            "token": request.scope.get("roewatch.token", ""),
            "back": request.query_params.get("back", "/"),
            "said": "",
        }
        template = environment(units_of(request)).get_template(name)
        return HTMLResponse(template.render(context | more), status)

    def draw(self, sight: Sight) -> Drawn:
        """The parts of a page that change by themselves."""
        say = Words(sight.now_ms, ZoneInfo(sight.room.zone))
        templates = environment(KEPT_UNITS)
        cells = templates.get_template("cell.html").module
        strip = templates.get_template("strip.html").render(sight=sight, say=say)
        return Drawn(
            strip=strip,
            cells={f"t-{s.tank.id}": str(cells.cell(s, say)) for s in sight.standings},  # type: ignore[attr-defined]
            news={
                alarm.number: f"{alarm.tank} {alarm_words(alarm)}" for alarm in sight.unacknowledged
            },
        )


def units_of(request: Request) -> Units:
    """The units the person chose to read in."""
    return Units.of(request.cookies.get(UNITS, ""))


def theme_of(request: Request) -> str:
    """The theme the person chose; empty to follow the phone's wish, else dark."""
    chosen = request.cookies.get("roewatch_theme", "")
    return chosen if chosen in {Theme.NIGHT, Theme.DAY, Theme.RED} else ""
