"""The calibration page: what a probe reads in buffers, and the calibration that follows."""

from starlette.requests import Request
from starlette.responses import Response

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.tank import Probe
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.pages import Desk
from roewatch.views.setup_page import workshop_of
from roewatch.views.sight import Sight
from roewatch.views.visitor import Visitor
from roewatch.water.settling import watch

CAN = frozenset({Quantity.PH, Quantity.TEMPERATURE, Quantity.CONDUCTIVITY})
_POINTS = 3
_BANDS = {Quantity.PH: 0.02, Quantity.TEMPERATURE: 0.15}
_OTHER_BAND = 2.0  # µS/cm
_LOOK_BACK_MS = 10 * MINUTE_MS


def _probes(sight: Sight) -> list[Probe]:
    return [p for p in sight.room.probes if p.quantity in CAN and not p.derived]


def _named(sight: Sight, name: str) -> Probe:
    for probe in _probes(sight):
        if probe.id == name:
            return probe
    raise NotHereError(f"No probe {name[:60]!r} can be calibrated here.")


def calibrate_page(desk: Desk, request: Request) -> Response:
    """One probe: what it reads now, whether it rests, and a line for each buffer."""
    sight = desk.lookout.look()
    probes = _probes(sight)
    wanted = request.query_params.get("probe", "")
    probe = _named(sight, wanted) if wanted else None
    reading, settled = None, None
    if probe is not None:
        reading = desk.records.latest().get(probe.id)
        series = desk.records.series(probe, sight.now_ms - _LOOK_BACK_MS, sight.now_ms + 1)
        seen = list(zip(series.at_ms, series.value, strict=True))
        if seen:
            settled = watch(seen, band=_BANDS.get(probe.quantity, _OTHER_BAND))
    counts = {Quantity.PH: _POINTS, Quantity.TEMPERATURE: 2}
    return desk.page(
        request,
        "calibrate.html",
        sight,
        probes=probes,
        probe=probe,
        reading=reading,
        settled=settled,
        points=range(1, (counts.get(probe.quantity, 1) if probe else 0) + 1),
        unit=(KEPT[probe.quantity].unit or "pH") if probe else "",
    )


def begin_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """The probe leaves the water: what it says until it is back explains itself."""
    sight = desk.lookout.look()
    probe = _named(sight, fields.get("probe", ""))
    detail = f"{probe.quantity} probe {probe.id}: begun"
    entry = JournalEntry(at_ms=sight.now_ms, tank=probe.tank, deed=Deed.CALIBRATION, detail=detail)
    desk.deeds.enter(entry)
    return back(
        {"back": f"/water/calibrate?probe={probe.id}"},
        f"Begun: for a while no alarm is made of what {probe.id} says.",
    )


def calibrate_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """The calibration by what was typed."""
    probe = _named(desk.lookout.look(), fields.get("probe", ""))
    points = []
    for n in range(1, _POINTS + 1):
        raw, true = (fields.get(f"{name}{n}", "").strip()[:40] for name in ("read", "true"))
        celsius = fields.get(f"celsius{n}", "").strip()[:10]
        if not raw and not true:
            continue
        if not raw or not true:
            raise AskedWrongError(f"Line {n}: write both what it read and what is true.")
        points.append(f"{raw}={true}" + (f"@{celsius}" if celsius else ""))
    anyway = fields.get("anyway") == "yes"
    said = workshop_of(desk).calibrate(probe.id, points, anyway=anyway)
    return back({"back": f"/water/calibrate?probe={probe.id}"}, said)
