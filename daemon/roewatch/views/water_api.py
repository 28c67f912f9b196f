"""The water bench for scripts: blends, ramps and plans, as JSON in kept units."""

from functools import partial

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from roewatch.breeding.pace import WaterState
from roewatch.breeding.plan import Plan
from roewatch.breeding.ramp import Ramp
from roewatch.room.moment import iso
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError
from roewatch.views.asking import Asking, Path
from roewatch.views.bench import made_of, windows_for
from roewatch.views.body import Body, flag, items, known, number, text, within
from roewatch.views.pages import Desk
from roewatch.views.ramp_asked import give_up, mix_words, previewed, start, wanted_of
from roewatch.views.setup_deeds import workshop_of
from roewatch.views.typed import number_of
from roewatch.views.visitor import Visitor
from roewatch.views.water_page import ROWS, moved_fields, poured, rows_of
from roewatch.views.wire import Json
from roewatch.water.blend import Range
from roewatch.water.hardness import dkh_of_meq

_WATER = {"ph": "ph", "dkh": "dkh", "dgh": "dgh", "conductivity": "cond", "celsius": "celsius"}
_NOW = {"ph": "ph", "celsius": "t", "conductivity": "us", "dgh": "gh", "dkh": "kh"}
_TO = {
    "ph_low": "to_low", "ph_high": "to_high", "conductivity": "to_us", "dgh": "to_gh",
    "dkh": "to_kh", "celsius": "to_t",
}  # fmt: skip


def _water_fields(body: Body) -> Fields:
    """The waters as the form would hold them."""
    names = ("name", "litres", "mains", *_WATER)
    waters = items(body, "waters", *names)
    if len(waters) > ROWS:
        raise AskedWrongError(f"waters: at most {ROWS} at once")
    found: Fields = {}
    for order, water in enumerate(waters):
        found[f"name{order}"] = text(water, "name", f"water {order + 1}", most=40)
        found[f"litres{order}"] = number(water, "litres")
        found[f"mains{order}"] = "on" if flag(water, "mains") else ""
        found |= {f"{field}{order}": number(water, name) for name, field in _WATER.items()}
        found[f"celsius{order}"] = found[f"celsius{order}"] or "24"
    return found


def _ramp_fields(body: Body) -> Fields:
    """A ramp as its form would ask for it. What is not told of the tank, its probes tell."""
    known(body, "tank", "waters", "now", "to", "days", "first", "swing")
    now, to = within(body, "now", *_NOW), within(body, "to", *_TO)
    return (
        _water_fields(body)
        | {"for": text(body, "tank"), "first": text(body, "first")}
        | {f"now_{field}": number(now, name) for name, field in _NOW.items() if name in now}
        | {field: number(to, name) for name, field in _TO.items() if name in to}
        | {name: number(body, name) for name in ("days", "swing") if name in body}
    )


def range_json(found: Range) -> Json:
    """A number, and where it may lie about 95 times in 100."""
    return {"low": found.low, "value": found.value, "high": found.high}


def plan_json(plan: Plan) -> Json:
    """What one quantity is meant to be, when."""
    steps = [{"time": iso(step.at_ms), "value": step.value} for step in plan.steps]
    return {"tank": plan.tank, "quantity": plan.quantity, "steps": steps}


def _state_json(state: WaterState) -> Json:
    return dict(state._asdict())


def ramp_json(ramp: Ramp) -> Json:
    """A ramp, day by day."""
    return {
        "tank": ramp.tank,
        "days": ramp.days,
        "litres": sum(step.litres for step in ramp.steps),
        "ends": iso(ramp.ends_ms),
        "cautions": list(ramp.cautions),
        "steps": [
            {
                "time": iso(step.at_ms),
                "litres": step.litres,
                "fraction": step.fraction,
                "thermostat": step.thermostat,
                "before": _state_json(step.before),
                "just_after": _state_json(step.just_after),
                "settled": _state_json(step.settled),
            }
            for step in ramp.steps
        ],
        "plans": [plan_json(plan) for plan in ramp.plans()],
    }


class WaterApi:
    """What is reckoned asks for the right to look; what is begun, for the pages' own right."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def waters(self, _: Request) -> Response:
        """The room's own source waters."""
        return JSONResponse(
            [
                {
                    "name": water.name,
                    "ph": water.ph,
                    "dkh": dkh_of_meq(water.alkalinity),
                    "dgh": water.dgh,
                    "conductivity": water.conductivity,
                    "celsius": water.celsius,
                    "mains": water.mains,
                }
                for water in workshop_of(self._desk).waters()
            ]
        )

    def blend(self, _: Path, body: Body, __: Visitor) -> Json:
        """What waters make when poured together, against the window of a tank."""
        known(body, "tank", "waters", "move")
        sight = self._desk.lookout.look()
        windows = windows_for(sight, text(body, "tank"))
        fields = _water_fields(body)
        move = within(body, "move", "water", "litres")
        if move:
            step = number_of(number(move, "litres"), "move, litres")
            fields = moved_fields(fields, number(move, "water"), step)
        rows = rows_of(fields)
        made = made_of(poured(rows), windows)
        sure = made.sure
        return {
            "litres": [float(row.litres) if row.poured else 0.0 for row in rows],
            "aired_ph": range_json(sure.aired_ph) | {"state": made.ph},
            "closed_ph": range_json(sure.closed_ph),
            "dgh": range_json(sure.dgh),
            "dkh": range_json(sure.dkh),
            "conductivity": sure.conductivity
            and range_json(sure.conductivity) | {"state": made.conductivity},
            "cautions": list(made.cautions),
        }

    def preview(self, _: Path, body: Body, __: Visitor) -> Json:
        """A ramp as it would be; nothing takes effect."""
        sight, fields = self._desk.lookout.look(), _ramp_fields(body)
        shown = previewed(wanted_of(sight, fields), fields, sight.now_ms, sight.room.zone)
        found, ramp = shown.found, shown.ramp
        return {
            "refused": shown.refusal or None,
            "ramp": ramp_json(ramp) if ramp and ramp.steps else None,
            "water": mix_words(found.vat) if found else "",
            "kept": list(found.kept) if found else [],
        }

    def start(self, _: Path, body: Body, by: Visitor) -> str:
        """Follow a ramp from now on."""
        return start(self._desk, _ramp_fields(body), by.name)

    def plans(self, request: Request) -> Response:
        """The plans of a tank, also those that are over."""
        tank = self._desk.lookout.look().of(request.path_params["tank"]).tank.id
        return JSONResponse([plan_json(plan) for plan in self._desk.records.plans(tank)])

    def give_up(self, path: Path, _: Body, by: Visitor) -> str:
        """Give up what is planned for a tank."""
        return give_up(self._desk, path["tank"], by.name)


def water_api_routes(desk: Desk) -> list[BaseRoute]:
    """The addresses under /api that speak of water to be."""
    water, asking = WaterApi(desk), Asking(desk.door)
    get, post = (partial(Route, methods=[method]) for method in ("GET", "POST"))
    return [
        get("/api/waters", asking.reading(water.waters)),
        post("/api/blend", asking.question(water.blend)),
        post("/api/ramps/preview", asking.question(water.preview)),
        post("/api/ramps", asking.doing(water.start)),
        get("/api/plans/{tank}", asking.reading(water.plans)),
        Route("/api/plans/{tank}", asking.doing(water.give_up), methods=["DELETE"]),
    ]
