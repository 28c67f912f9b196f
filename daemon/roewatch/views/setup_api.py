"""The set-up for scripts: what its pages show and do, as JSON."""

from functools import partial

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from roewatch.room.moment import iso
from roewatch.room.quantity import KEPT
from roewatch.room.tank import Probe
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError
from roewatch.views.asking import Asking, Path
from roewatch.views.body import Body, flag, items, known, number, text
from roewatch.views.calibrate_page import Calibrating, named, point_text, settled_of
from roewatch.views.contact_api import contact_api_routes
from roewatch.views.pages import Desk
from roewatch.views.setup_deeds import SHELVES, SetupDeeds, workshop_of
from roewatch.views.setup_ports import HeardProbe, Listening
from roewatch.views.visitor import Visitor
from roewatch.views.wire import Json


def heard_json(probe: HeardProbe, *, warmed: str) -> Json:
    """A number on the broker that a probe could be tied to."""
    return {
        "key": probe.key,
        "topic": probe.topic,
        "where": probe.where,
        "quantity": probe.quantity,
        "value": probe.value,
        "rose": probe.rose,
        "warmed": probe.key == warmed,
        "tied": probe.tied,
        "tank": probe.tank,
    }


def listening_json(heard: Listening) -> Json:
    """What was heard."""
    return {
        "left_s": heard.left_s,
        "messages": heard.messages,
        "trouble": heard.trouble,
        "probes": [heard_json(probe, warmed=heard.warmed) for probe in heard.probes],
        "others": [
            {"topic": one.topic, "latest": one.latest, "why": one.why} for one in heard.others
        ],
    }


def probe_json(probe: Probe) -> Json:
    """One probe, with its calibrations."""
    return {
        "probe": probe.id,
        "tank": probe.tank,
        "quantity": probe.quantity,
        "unit": KEPT[probe.quantity].unit,
        "every_s": probe.every_ms / 1000,
        "derived": probe.derived,
        "calibrations": [
            {"time": iso(one.at_ms), "slope": one.slope, "offset": one.offset}
            for one in probe.calibrations
        ],
    }


class SetupApi:
    """Reads and deeds; whoever may look may read, and deeds ask for the pages' own right."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._deeds = SetupDeeds(desk)
        self._calibrating = Calibrating(desk)

    def setup(self, _: Request) -> Response:
        """The broker, the sheets, and by which ways people are told."""
        workshop = workshop_of(self._desk)
        broker = workshop.broker()
        return JSONResponse(
            {
                "broker": {
                    "host": broker.host,
                    "port": broker.port,
                    "username": broker.username,
                    "tls": broker.tls,
                },
                "species": [{"id": id_, "latin": latin} for id_, latin in workshop.species()],
                "ways": list(workshop.ways()),
            }
        )

    def heard(self, _: Request) -> Response:
        """What speaks on the broker, as far as it was listened for."""
        return JSONResponse(listening_json(workshop_of(self._desk).listening()))

    def probes(self, _: Request) -> Response:
        """Every probe of the room."""
        return JSONResponse([probe_json(p) for p in self._desk.lookout.look().room.probes])

    def probe(self, request: Request) -> Response:
        """One probe that can be calibrated, as it reads now."""
        sight = self._desk.lookout.look()
        probe = named(sight, request.path_params["probe"])
        reading = self._desk.records.latest().get(probe.id)
        settled = settled_of(self._desk, sight, probe)
        return JSONResponse(
            probe_json(probe)
            | {
                "raw": reading.raw if reading else None,
                "time": iso(reading.at_ms) if reading else None,
                "at_rest": settled.rest if settled else None,
                "spread": settled.spread if settled else None,
            }
        )

    # deeds

    def broker(self, _: Path, body: Body, __: Visitor) -> str:
        """Another broker."""
        known(body, "host", "port", "username", "password")
        told = ("host", "username", "password")
        fields = {name: text(body, name) for name in told if name in body}
        if "port" in body:
            fields["port"] = number(body, "port")
        return self._deeds.broker(fields)

    def listen(self, _: Path, __: Body, ___: Visitor) -> str:
        """Hear everything on the broker for a minute."""
        return self._deeds.listen()

    def rack(self, _: Path, body: Body, __: Visitor) -> str:
        """A rack, shelf by shelf."""
        known(body, "rack", "shelves", "litres")
        shelves = body.get("shelves", [])
        if not isinstance(shelves, list) or len(shelves) > SHELVES:
            raise AskedWrongError(f"shelves: tanks on each from the top, at most {SHELVES} shelves")
        counts: Fields = {
            f"shelf{n}": number({"shelves": count}, "shelves") for n, count in enumerate(shelves, 1)
        }
        return self._deeds.rack(
            counts | {"rack": text(body, "rack"), "litres": number(body, "litres")}
        )

    def tie(self, _: Path, body: Body, __: Visitor) -> str:
        """A heard number is a tank's probe."""
        known(body, "key", "tank", "quantity")
        names = ("key", "tank", "quantity")
        return self._deeds.tie({name: text(body, name, most=1_000) for name in names})

    def stock(self, path: Path, body: Body, _: Visitor) -> str:
        """What lives in a tank."""
        known(body, "species", "stage")
        fields = {name: text(body, name) for name in ("species", "stage") if name in body}
        return self._deeds.stock(fields | {"tank": path["tank"]})

    def place(self, path: Path, body: Body, _: Visitor) -> str:
        """Put a tank elsewhere."""
        known(body, "rack", "shelf", "place")
        numbers = {name: number(body, name) for name in ("shelf", "place")}
        return self._deeds.place(numbers | {"tank": path["tank"], "rack": text(body, "rack")})

    def test(self, _: Path, __: Body, ___: Visitor) -> Json:
        """A test notice the whole way, and what became of it."""
        sent = [
            {"way": one.way, "outcome": one.outcome, "reason": one.reason}
            for one in self._deeds.test()
        ]
        return {"done": True, "sent": sent}

    def again(self, _: Path, __: Body, ___: Visitor) -> str:
        """Read the room file anew."""
        return self._deeds.again()

    def begin(self, path: Path, _: Body, __: Visitor) -> str:
        """A probe leaves the water."""
        return self._calibrating.begin(path["probe"])

    def calibrate(self, path: Path, body: Body, _: Visitor) -> str:
        """A calibration by what a probe read in known waters."""
        known(body, "points", "anyway")
        points = [
            point_text(line, number(one, "read"), _true(one), number(one, "celsius"))
            for line, one in enumerate(items(body, "points", "read", "true", "celsius"), 1)
        ]
        anyway = flag(body, "anyway")
        return self._calibrating.calibrate(path["probe"], [p for p in points if p], anyway=anyway)


def _true(point: Body) -> str:
    """A value that is true, or the name of a buffer."""
    if isinstance(point.get("true"), str):
        return text(point, "true", most=40)
    return number(point, "true")


def setup_api_routes(desk: Desk) -> list[BaseRoute]:
    """The addresses under /api that write the room file."""
    setup, asking = SetupApi(desk), Asking(desk.door)
    get, post, put = (partial(Route, methods=[method]) for method in ("GET", "POST", "PUT"))
    probe, tank = "/api/probes/{probe}", "/api/tanks/{tank}"
    return [
        get("/api/setup", asking.reading(setup.setup)),
        put("/api/setup/broker", asking.doing(setup.broker)),
        get("/api/setup/heard", asking.reading(setup.heard)),
        post("/api/setup/listen", asking.doing(setup.listen)),
        post("/api/setup/reload", asking.doing(setup.again)),
        post("/api/setup/test", asking.doing(setup.test)),
        post("/api/racks", asking.doing(setup.rack)),
        put(f"{tank}/place", asking.doing(setup.place)),
        put(f"{tank}/stock", asking.doing(setup.stock)),
        get("/api/probes", asking.reading(setup.probes)),
        post("/api/probes", asking.doing(setup.tie)),
        get(probe, asking.reading(setup.probe)),
        post(f"{probe}/calibration", asking.doing(setup.calibrate)),
        post(f"{probe}/calibration/begin", asking.doing(setup.begin)),
        *contact_api_routes(desk),
    ]
