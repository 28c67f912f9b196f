"""The set-up page: from a broker to a first watched tank, each step by itself and in any order."""

from starlette.requests import Request
from starlette.responses import Response

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.views.act import Fields, back
from roewatch.views.pages import Desk, units_of
from roewatch.views.racks import racks_of
from roewatch.views.setup_deeds import SHELVES, SetupDeeds, workshop_of
from roewatch.views.typed import kept_fields, shown_text
from roewatch.views.units import Of
from roewatch.views.visitor import Visitor

_LITRES = "20"


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
        shelves=range(1, SHELVES + 1),
        litres=shown_text(_LITRES, Of.VOLUME, units_of(request)),
    )


class SetupForms:
    """The forms of these pages; each does one deed and goes back to its step."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._deeds = SetupDeeds(desk)

    def broker(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """Another broker."""
        return back({"back": "/setup#speaks"}, self._deeds.broker(fields))

    def listen(self, _: Request, __: Fields, ___: Visitor) -> Response:
        """Hear what speaks; the page itself says that it listens."""
        self._deeds.listen()
        return back({"back": "/setup#speaks"}, "")

    def rack(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """A rack, shelf by shelf."""
        told = self._deeds.rack(kept_fields(fields, {"litres": Of.VOLUME}))
        return back({"back": "/setup#racks"}, told)

    def tie(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """A number on the broker is a tank's probe."""
        return back({"back": "/setup#speaks"}, self._deeds.tie(fields))

    def stock(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """What lives in a tank."""
        return back({"back": "/setup#fish"}, self._deeds.stock(fields))

    def test(self, request: Request, _: Fields, __: Visitor) -> Response:
        """A test the whole way; what became of it stands on the page that answers."""
        sent = self._deeds.test()
        return self._desk.page(request, "tested.html", self._desk.lookout.look(), sent=sent)

    def again(self, _: Request, __: Fields, ___: Visitor) -> Response:
        """Read the room file anew."""
        return back({"back": "/setup"}, self._deeds.again())

    def place(self, _: Request, fields: Fields, __: Visitor) -> Response:
        """Put a tank elsewhere. spot: `shelf/place`."""
        shelf, _slash, place = fields.get("spot", "").partition("/")
        told = self._deeds.place(fields | {"shelf": shelf, "place": place})
        return back({"back": "/move"}, told)


def moving_page(desk: Desk, request: Request) -> Response:
    """The racks while tanks are moved: the first tap picks one, the second says where to."""
    sight = desk.lookout.look()
    picked = request.query_params.get("tank", "")
    if picked:
        picked = sight.of(picked).tank.id
    return desk.page(request, "move.html", sight, racks=racks_of(sight.standings), picked=picked)
