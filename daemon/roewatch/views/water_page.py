"""The water page: what two or three waters make when poured together, against a tank's window.

The whole question stands in the address, so a blend can be kept as a bookmark or printed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch.views.pages import Desk, units_of
from roewatch.views.sight import Sight
from roewatch.views.standing import Mark
from roewatch.views.units import Units
from roewatch.water.blend import Range, cautions, moved, pour, ranges
from roewatch.water.hardness import dkh_of_meq, meq_of_dkh
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater

ROWS = 3
_NAMES = ("rain", "RO", "tap")
_FIELDS = ("name", "litres", "ph", "dkh", "dgh", "cond", "celsius")
_DEFAULT_CELSIUS = "24"
_LONGEST = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One water as it was typed; every field as text, so that nothing typed is lost."""

    order: int
    name: str
    litres: str
    ph: str
    dkh: str
    dgh: str
    cond: str
    celsius: str
    mains: bool

    @property
    def poured(self) -> bool:
        """Whether any of it goes in."""
        return self.litres.strip() not in {"", "0"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """One number of the blend. mark: against the tank's window, blank without one."""

    name: str
    text: str
    window: str
    mark: Mark


def rows_of(query: Mapping[str, str]) -> list[Row]:
    """The waters as typed."""
    return [
        Row(
            order=order,
            name=query.get(f"name{order}", _NAMES[order])[:_LONGEST],
            litres=query.get(f"litres{order}", "")[:_LONGEST],
            ph=query.get(f"ph{order}", "")[:_LONGEST],
            dkh=query.get(f"dkh{order}", "")[:_LONGEST],
            dgh=query.get(f"dgh{order}", "")[:_LONGEST],
            cond=query.get(f"cond{order}", "")[:_LONGEST],
            celsius=query.get(f"celsius{order}", _DEFAULT_CELSIUS)[:_LONGEST],
            mains=query.get(f"mains{order}", "") == "on",
        )
        for order in range(ROWS)
    ]


def number_of(text: str, what: str) -> float:
    """A number as people write it, decimal comma or point. Raises RefusedError."""
    plain = text.strip().replace(",", ".")
    try:
        return float(plain)
    except ValueError:
        raise RefusedError(f"{what}: {text!r} is no number. Write it like 7.4 or 7,4.") from None


def _part(row: Row) -> tuple[float, SourceWater]:
    name = row.name.strip() or f"water {row.order + 1}"
    source = SourceWater(
        name=name,
        celsius=number_of(row.celsius, f"temperature of {name}"),
        alkalinity=meq_of_dkh(number_of(row.dkh, f"KH of {name}")),
        ph=number_of(row.ph, f"pH of {name}") if row.ph.strip() else None,
        dgh=number_of(row.dgh, f"dGH of {name}") if row.dgh.strip() else 0.0,
        conductivity=number_of(row.cond, f"conductivity of {name}") if row.cond.strip() else None,
        mains=row.mains,
    )
    return number_of(row.litres, f"litres of {name}"), source


def with_waters(query: Mapping[str, str], waters: Sequence[SourceWater]) -> dict[str, str]:
    """The query, its waters filled in from the room's own ones while nobody has typed any."""
    if any(name.startswith(("name", "litres", "dkh")) for name in query):
        return dict(query)
    found = dict(query)
    for order, water in enumerate(waters[:ROWS]):
        texts = {
            "name": water.name,
            "dkh": f"{dkh_of_meq(water.alkalinity):g}",
            "ph": "" if water.ph is None else f"{water.ph:g}",
            "dgh": f"{water.dgh:g}",
            "cond": "" if water.conductivity is None else f"{water.conductivity:g}",
            "celsius": f"{water.celsius:g}",
            "mains": "on" if water.mains else "",
        }
        found |= {f"{name}{order}": text for name, text in texts.items()}
    return found


def poured(rows: Sequence[Row]) -> list[tuple[float, SourceWater]]:
    """The waters that go in, with their litres. Raises RefusedError."""
    return [_part(row) for row in rows if row.poured]


def _against(name: str, found: Range, digits: int, window: Window | None, unit: str = "") -> Given:
    """A number with its range; near when the range alone reaches past the window."""
    space = f" {unit}" if unit else ""
    text = f"{found.value:.{digits}f}{space} ({found.low:.{digits}f} to {found.high:.{digits}f})"
    if window is None:
        return Given(name=name, text=text, window="", mark=Mark.BLANK)
    mark = Mark.INSIDE
    if window.outside_by(found.value):
        mark = Mark.OUTSIDE
    elif window.outside_by(found.low) or window.outside_by(found.high):
        mark = Mark.NEAR
    return Given(name=name, text=text, window=window.text(digits).replace("-", " to "), mark=mark)


def _windows(sight: Sight, tank_id: str) -> Mapping[Quantity, Window]:
    if not tank_id:
        return {}
    return sight.of(tank_id).tank.windows


def _celsius(windows: Mapping[Quantity, Window]) -> float | None:
    """The middle of the tank's own temperatures: pH is judged at what the tank is kept at."""
    window = windows.get(Quantity.TEMPERATURE)
    if window is None or window.low is None or window.high is None:
        return None
    return (window.low + window.high) / 2


def _hardness(name: str, found: Range, shown: tuple[str, float, int]) -> Given:
    unit, factor, digits = shown
    return _against(name, Range(*(number * factor for number in found)), digits, None, unit)


def _results(
    rows: list[Row], windows: Mapping[Quantity, Window], units: Units
) -> tuple[list[Given], list[str]]:
    """The blend's numbers and what to hear about it. Raises RefusedError."""
    parts = poured(rows)
    celsius = _celsius(windows)
    sure = ranges(parts, celsius=celsius)
    given = [
        _against("pH with air, after a day", sure.aired_ph, 2, windows.get(Quantity.PH)),
        _against("pH just mixed", sure.closed_ph, 2, None),
        _hardness("general hardness", sure.dgh, units.hardness("°dGH")),
        _hardness("carbonate hardness", sure.dkh, units.hardness("°dKH")),
    ]
    if sure.conductivity is not None:
        window = windows.get(Quantity.CONDUCTIVITY)
        given.append(_against("conductivity", sure.conductivity, 0, window, "µS/cm"))
    return given, list(cautions(pour(parts, celsius=celsius)))


def _moved(query: Mapping[str, str], rows: list[Row]) -> str:
    """The address after one press of - or +: that water changes, the others make room."""
    order, _, step = query["move"].partition(":")
    parts = [(row, *_part(row)) for row in rows if row.poured]
    place = next((i for i, (row, _, _) in enumerate(parts) if str(row.order) == order), None)
    if place is None:
        raise RefusedError("only a water that is in the blend can be moved.")
    blend = pour([(litres, source) for _, litres, source in parts])
    wanted = min(max(blend.litres[place] + number_of(step, "step"), 0.0), sum(blend.litres))
    after = moved(blend, source=place, litres=wanted)
    changed = {
        f"litres{row.order}": f"{litres:.2f}".rstrip("0").rstrip(".")
        for (row, _, _), litres in zip(parts, after.litres, strict=True)
    }
    kept = {name: text for name, text in query.items() if name != "move"}
    return f"/water?{urlencode(kept | changed)}#gives"


def water_page(desk: Desk, request: Request) -> Response:
    """The bench: waters in, water out. Raises NotHereError for an unknown tank."""
    sight = desk.lookout.look()
    query = dict(request.query_params)
    waters = desk.workshop.waters() if desk.workshop else ()
    rows = rows_of(with_waters(query, waters))
    tank_id = query.get("for", "")
    windows = _windows(sight, tank_id)
    given: list[Given] = []
    notes: list[str] = []
    refusal = ""
    if any(row.poured for row in rows):
        try:
            if "move" in query:
                return RedirectResponse(_moved(query, rows), 303)
            given, notes = _results(rows, windows, units_of(request))
        except RefusedError as fault:
            refusal = str(fault)
    return desk.page(
        request,
        "water.html",
        sight,
        rows=rows,
        tank_id=tank_id,
        given=given,
        notes=notes,
        refusal=refusal,
        query=query,
    )
