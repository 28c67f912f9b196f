"""The set-up page: from a broker to a first watched tank, each step by itself and in any order."""

import re

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError
from roewatch.views.pages import Desk
from roewatch.views.racks import racks_of
from roewatch.views.setup_ports import Workshop
from roewatch.views.visitor import Visitor
from roewatch.views.water_page import number_of
from roewatch.water.refusal import RefusedError

LISTEN_S = 60.0
_RACK = re.compile(r"[A-Za-z0-9]{1,4}")
_SHELVES = 8


def workshop_of(desk: Desk) -> Workshop:
    """What writes the room file. Raises HTTPException where nothing does, as in a replay."""
    if desk.workshop is None:
        raise HTTPException(404, "These pages are not served by a running daemon.")
    return desk.workshop


def setup_page(desk: Desk, request: Request) -> Response:
    """Every step with what is there and what is missing; while it listens, drawn anew by itself."""
    workshop = workshop_of(desk)
    sight = desk.lookout.look()
    listening = workshop.listening()
    return desk.page(
        request,
        "setup.html",
        sight,
        broker=workshop.broker(),
        listening=listening,
        species=workshop.species(),
        ways=workshop.ways(),
        tied={probe.tank for probe in sight.room.probes},
        stages=tuple(Stage),
        all_quantities=[q for q in Quantity],  # noqa: C416 an enumeration as a list
        racks=racks_of(sight.standings),
        shelves=range(1, _SHELVES + 1),
        sent=(),
    )


def broker_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """Another broker."""
    host = fields.get("host", "").strip()
    port = fields.get("port", "1883").strip()
    if not host or len(host) > 253:
        raise AskedWrongError("The broker needs a name or an address, like 127.0.0.1.")
    if not (port.isascii() and port.isdigit()) or not 1 <= int(port[:6]) <= 65_535:
        raise AskedWrongError(f"Port: {port[:20]!r} is none; 1883 is usual.")
    username, password = fields.get("username", "").strip(), fields.get("password", "")
    workshop_of(desk).serve_by(host, int(port), username, password)
    return back({"back": "/setup#speaks"}, f"The broker is {host}, port {port}, from now on.")


def listen_form(desk: Desk, _: Request, __: Fields, ___: Visitor) -> Response:
    """Hear what speaks."""
    workshop_of(desk).listen(LISTEN_S)
    return back({"back": "/setup#speaks"}, "")


def rack_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """A rack, shelf by shelf."""
    rack = fields.get("rack", "").strip()
    if not _RACK.fullmatch(rack):
        raise AskedWrongError("A rack is called by a letter or two, like A.")
    counts = [fields.get(f"shelf{n}", "").strip() or "0" for n in range(1, _SHELVES + 1)]
    if not all(count.isascii() and count.isdigit() and len(count) <= 2 for count in counts):
        raise AskedWrongError("Write how many tanks stand on each shelf, as whole numbers.")
    shelves = [int(count) for count in counts]
    while shelves and not shelves[-1]:
        shelves.pop()
    if not shelves:
        raise AskedWrongError("Write how many tanks stand on the first shelf at least.")
    litres = _litres(fields.get("litres", ""))
    workshop_of(desk).lay_out(rack, shelves, litres)
    return back({"back": "/setup#racks"}, f"Rack {rack} has {sum(shelves)} tanks.")


def _litres(text: str) -> float:
    try:
        return number_of(text, "litres of a tank")
    except RefusedError as fault:
        raise AskedWrongError(str(fault)) from fault


def tie_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """A number on the broker is a tank's probe."""
    tank, written = fields.get("tank", ""), fields.get("quantity", "")
    if tank != ROOM:
        tank = desk.lookout.look().of(tank).tank.id
    if written not in set(Quantity):
        raise AskedWrongError("Choose what this number measures.")
    workshop_of(desk).tie(fields.get("key", ""), tank, Quantity(written))
    told = f"{Quantity(written).value} of {tank if tank != ROOM else 'the room'} is read from it."
    return back({"back": "/setup#speaks"}, told)


def stock_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """What lives in a tank."""
    tank = desk.lookout.look().of(fields.get("tank", "")).tank.id
    species, stage = fields.get("species", ""), fields.get("stage", Stage.HOLDING)
    workshop = workshop_of(desk)
    if species and species not in dict(workshop.species()):
        raise AskedWrongError(f"There is no species sheet {species[:60]!r}.")
    if stage not in set(Stage):
        raise AskedWrongError(f"There is no stage {stage[:20]!r}.")
    workshop.stock(tank, species, Stage(stage))
    return back({"back": "/setup#fish"}, f"{tank} is judged by that window from now on.")


def try_form(desk: Desk, request: Request, _: Fields, __: Visitor) -> Response:
    """A test the whole way; what became of it stands on the page that answers."""
    sent = workshop_of(desk).test()
    sight = desk.lookout.look()
    return desk.page(request, "tested.html", sight, sent=sent)


def moving_page(desk: Desk, request: Request) -> Response:
    """The racks while tanks are moved: the first tap picks one, the second says where to."""
    sight = desk.lookout.look()
    picked = request.query_params.get("tank", "")
    if picked:
        picked = sight.of(picked).tank.id
    return desk.page(request, "move.html", sight, racks=racks_of(sight.standings), picked=picked)


def place_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """Put a tank elsewhere."""
    tank = desk.lookout.look().of(fields.get("tank", "")).tank.id
    rack, spot = fields.get("rack", "").strip(), fields.get("spot", "")
    shelf, _slash, place = spot.partition("/")
    numbers = all(n.isascii() and n.isdigit() and 1 <= int(n[:4]) <= 99 for n in (shelf, place))
    if len(rack) > 20 or not numbers:
        raise AskedWrongError("Choose a place on a shelf.")
    workshop_of(desk).place(tank, rack, int(shelf), int(place))
    return back({"back": "/move"}, f"{tank} stands in rack {rack}, shelf {shelf}, place {place}.")
