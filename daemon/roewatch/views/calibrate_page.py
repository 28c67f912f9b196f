"""The calibration page: what a probe reads in buffers, and the calibration that follows."""

from collections.abc import Sequence
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Probe
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.pages import Desk, units_of
from roewatch.views.setup_deeds import workshop_of
from roewatch.views.sight import Sight
from roewatch.views.typed import kept_fields, shown_text
from roewatch.views.units import Of
from roewatch.views.visitor import Visitor
from roewatch.water.settling import Settling, watch

CAN = frozenset({Quantity.PH, Quantity.TEMPERATURE, Quantity.CONDUCTIVITY})
POINTS = 3
_BANDS = {Quantity.PH: 0.02, Quantity.TEMPERATURE: 0.15}
_OTHER_BAND = 2.0  # µS/cm
_USUAL_CELSIUS = "25"
_COLUMNS = ("read", "true", "celsius")
_LOOK_BACK_MS = 10 * MINUTE_MS


def calibrated(sight: Sight) -> list[Probe]:
    """The probes that can be."""
    return [p for p in sight.room.probes if p.quantity in CAN and not p.derived]


def named(sight: Sight, name: str) -> Probe:
    """One of them. Raises NotHereError."""
    for probe in calibrated(sight):
        if probe.id == name:
            return probe
    raise NotHereError(f"No probe {name[:60]!r} can be calibrated here.")


def calibrate_page(desk: Desk, request: Request) -> Response:
    """One probe: what it reads now, whether it rests, and a line for each buffer."""
    sight = desk.lookout.look()
    probes = calibrated(sight)
    wanted = request.query_params.get("probe", "")
    probe = named(sight, wanted) if wanted else None
    reading, settled = None, None
    if probe is not None:
        reading = desk.records.latest().get(probe.id)
        settled = settled_of(desk, sight, probe)
    counts = {Quantity.PH: POINTS, Quantity.TEMPERATURE: 2}
    return desk.page(
        request,
        "calibrate.html",
        sight,
        probes=probes,
        probe=probe,
        reading=reading,
        settled=settled,
        points=range(1, (counts.get(probe.quantity, 1) if probe else 0) + 1),
        unit=(units_of(request).unit(probe.quantity) or "pH") if probe else "",
        usual=shown_text(_USUAL_CELSIUS, Of.WARMTH, units_of(request)),
    )


def settled_of(desk: Desk, sight: Sight, probe: Probe) -> Settling | None:
    """Whether a probe rests, by its last minutes; None without readings."""
    series = desk.records.series(probe, sight.now_ms - _LOOK_BACK_MS, sight.now_ms + 1)
    seen = list(zip(series.at_ms, series.value, strict=True))
    return watch(seen, band=_BANDS.get(probe.quantity, _OTHER_BAND)) if seen else None


class Calibrating:
    """What may be done to a probe, by a form or the API: every deed returns what to tell."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def begin(self, probe_id: str) -> str:
        """The probe leaves the water: what it says until it is back explains itself."""
        sight = self._desk.lookout.look()
        probe = named(sight, probe_id)
        detail = f"{probe.quantity} probe {probe.id}: begun"
        entry = JournalEntry(
            at_ms=sight.now_ms, tank=probe.tank, deed=Deed.CALIBRATION, detail=detail
        )
        self._desk.deeds.enter(entry)
        return f"Begun: for a while no alarm is made of what {probe.id} says."

    def calibrate(self, probe_id: str, points: Sequence[str], *, anyway: bool) -> str:
        """The calibration by points such as `4.12=4@25`."""
        probe = named(self._desk.lookout.look(), probe_id)
        return workshop_of(self._desk).calibrate(probe.id, points, anyway=anyway)


def point_text(line: int, read: str, true: str, celsius: str) -> str:
    """A point as the workshop takes it; empty for a line nothing was written on."""
    if not read and not true:
        return ""
    if not read or not true:
        raise AskedWrongError(f"Line {line}: write both what it read and what is true.")
    return f"{read}={true}" + (f"@{celsius}" if celsius else "")


def begin_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """The probe leaves the water."""
    probe = fields.get("probe", "")
    told = Calibrating(desk).begin(probe)
    return back({"back": f"/water/calibrate?probe={quote(probe)}"}, told)


def calibrate_form(desk: Desk, _: Request, fields: Fields, __: Visitor) -> Response:
    """The calibration by what was typed."""
    probe = named(desk.lookout.look(), fields.get("probe", ""))
    warm = probe.quantity is Quantity.TEMPERATURE
    numbers = {f"celsius{n}": Of.WARMTH for n in range(1, POINTS + 1)}
    if warm:
        numbers = {f"{name}{n}": Of.WARMTH for name in _COLUMNS for n in range(1, POINTS + 1)}
    kept = kept_fields(fields, numbers)
    points = [
        point_text(n, *(kept.get(f"{name}{n}", "").strip()[:40] for name in _COLUMNS))
        for n in range(1, POINTS + 1)
    ]
    anyway = fields.get("anyway") == "yes"
    said = Calibrating(desk).calibrate(probe.id, [p for p in points if p], anyway=anyway)
    return back({"back": f"/water/calibrate?probe={quote(probe.id)}"}, said)
