"""The water page: what two or three waters make when poured together, against a tank's window.

The whole question stands in the address, so a blend can be kept as a bookmark or printed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from roewatch.room.measured import rounded_down, rounded_up
from roewatch.room.quantity import Quantity
from roewatch.room.window import Window
from roewatch.views.bench import Made, made_of, windows_for
from roewatch.views.pages import Desk, units_of
from roewatch.views.standing import Mark
from roewatch.views.typed import kept_fields, number_of, shown_fields, typed_in
from roewatch.views.units import Of, Units
from roewatch.water.blend import Range, moved, pour
from roewatch.water.carbonate import LEAST_ALKALINITY, MOST_ALKALINITY
from roewatch.water.hardness import dkh_of_meq, meq_of_dkh
from roewatch.water.refusal import RefusedError, within
from roewatch.water.source import SourceWater

ROWS = 3
_NAMES = ("rain", "RO", "tap")
_OF = {
    "litres": Of.VOLUME,
    "dkh": Of.HARDNESS,
    "dgh": Of.HARDNESS,
    "celsius": Of.WARMTH,
}
MEASURES = {f"{name}{order}": what for name, what in _OF.items() for order in range(ROWS)}
"""By field of the form, what it measures."""
_DEFAULT_CELSIUS = "24"
_LONGEST = 40
_DKH = (
    rounded_up(dkh_of_meq(LEAST_ALKALINITY), 0),
    rounded_down(dkh_of_meq(MOST_ALKALINITY), 0),
)
"""What the chemistry works from, in the measure the form asks in."""


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


def _part(row: Row) -> tuple[float, SourceWater]:
    name = row.name.strip() or f"water {row.order + 1}"
    source = SourceWater(
        name=name,
        celsius=number_of(row.celsius, f"temperature of {name}"),
        alkalinity=meq_of_dkh(
            within(number_of(row.dkh, f"KH of {name}"), *_DKH, what=f"KH of {name}", unit="°dKH")
        ),
        ph=number_of(row.ph, f"pH of {name}") if row.ph.strip() else None,
        dgh=number_of(row.dgh, f"dGH of {name}") if row.dgh.strip() else 0.0,
        conductivity=number_of(row.cond, f"conductivity of {name}") if row.cond.strip() else None,
        mains=row.mains,
    )
    return number_of(row.litres, f"litres of {name}"), source


def with_waters(query: Mapping[str, str], waters: Sequence[SourceWater]) -> dict[str, str]:
    """The form, its waters filled in from the room's own ones while nobody has typed any."""
    usual = {f"celsius{order}": _DEFAULT_CELSIUS for order in range(ROWS)}
    if any(name.startswith(("name", "litres", "dkh")) for name in query):
        return usual | dict(query)
    found = usual | dict(query)
    for order, water in enumerate(waters[:ROWS]):
        texts = {
            "name": water.name,
            "dkh": f"{round(dkh_of_meq(water.alkalinity), 2):g}",
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


def _given(name: str, found: Range, digits: int, unit: str = "") -> Given:
    """A number with its range, and no window."""
    space = f" {unit}" if unit else ""
    text = f"{found.value:.{digits}f}{space} ({found.low:.{digits}f} to {found.high:.{digits}f})"
    return Given(name=name, text=text, window="", mark=Mark.BLANK)


def _against(given: Given, mark: Mark, window: Window | None, digits: int) -> Given:
    text = window.text(digits, to=" to ") if window else ""
    return replace(given, window=text, mark=mark)


def _hardness(name: str, found: Range, shown: tuple[str, float, int]) -> Given:
    unit, factor, digits = shown
    return _given(name, Range(*(number * factor for number in found)), digits, unit)


def _results(made: Made, windows: Mapping[Quantity, Window], units: Units) -> list[Given]:
    """The blend's numbers in the chosen units."""
    sure, ph = made.sure, windows.get(Quantity.PH)
    given = [
        _against(_given("pH with air, after a day", sure.aired_ph, 2), made.ph, ph, 2),
        _given("pH just mixed", sure.closed_ph, 2),
        _hardness("general hardness", sure.dgh, units.hardness("°dGH")),
        _hardness("carbonate hardness", sure.dkh, units.hardness("°dKH")),
    ]
    if sure.conductivity is not None:
        conductivity = _given("conductivity", sure.conductivity, 0, "µS/cm")
        window = windows.get(Quantity.CONDUCTIVITY)
        given.append(_against(conductivity, made.conductivity, window, 0))
    return given


def moved_fields(query: Mapping[str, str], order: str, step: float) -> dict[str, str]:
    """The form after one water was moved: it changes, the others make room.

    query: in kept units. order: which water, from 0. step: litres. Raises RefusedError.
    """
    parts = [(row, *_part(row)) for row in rows_of(query) if row.poured]
    place = next((i for i, (row, _, _) in enumerate(parts) if str(row.order) == order), None)
    if place is None:
        raise RefusedError("only a water that is in the blend can be moved.")
    blend = pour([(litres, source) for _, litres, source in parts])
    wanted = min(max(blend.litres[place] + step, 0.0), sum(blend.litres))
    after = moved(blend, source=place, litres=wanted)
    changed = {
        f"litres{row.order}": f"{litres:.2f}".rstrip("0").rstrip(".")
        for (row, _, _), litres in zip(parts, after.litres, strict=True)
    }
    return {name: text for name, text in query.items() if name != "move"} | changed


def water_page(desk: Desk, request: Request) -> Response:
    """The bench: waters in, water out. Raises NotHereError for an unknown tank."""
    sight = desk.lookout.look()
    typed, units = dict(request.query_params), units_of(request)
    waters = desk.workshop.waters() if desk.workshop else ()
    query = with_waters(kept_fields(typed, MEASURES), waters)
    tank_id = query.get("for", "")
    windows = windows_for(sight, tank_id)
    given: list[Given] = []
    notes: Sequence[str] = ()
    refusal = ""
    if any(row.poured for row in rows_of(query)):
        try:
            if "move" in query:
                order, _, by = query["move"].partition(":")
                step = typed_in(typed).kept_of(Of.VOLUME, number_of(by, "step"))
                after = moved_fields(query, order, step)
                shown = urlencode(shown_fields(after, MEASURES, units))
                return RedirectResponse(f"/water?{shown}#gives", 303)
            made = made_of(poured(rows_of(query)), windows)
            given, notes = _results(made, windows, units), made.cautions
        except RefusedError as fault:
            refusal = str(fault)
    shown_query = shown_fields(query, MEASURES, units)
    return desk.page(
        request,
        "water.html",
        sight,
        rows=rows_of(shown_query),
        tank_id=tank_id,
        given=given,
        notes=notes,
        refusal=refusal,
        query=shown_query,
    )
