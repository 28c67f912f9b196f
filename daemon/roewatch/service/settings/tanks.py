"""Tanks: a written tank resolved for a stage: the species sheet, and over it the keeper's word."""

from collections.abc import Sequence

from roewatch.room.quantity import DERIVED, Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM, Place, Tank
from roewatch.room.window import Basis, RateLimit, Window
from roewatch.service.settings.document import Document, did_you_mean
from roewatch.service.settings.entries import (
    QuantityRates,
    QuantityWindows,
    RateOverride,
    TankEntry,
    WindowOverride,
)
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.species import Sheets
from roewatch.water import derived

Placed = Sequence[tuple[int, TankEntry]]

KEEPER = "the room's settings"


def tank_of(entry: TankEntry, sheet: SpeciesSheet | None, stage: Stage) -> Tank:
    """The tank in `stage`. Raises ValueError if an override turns a window upside down."""
    windows = {q: window_of(entry, sheet, stage, q) for q in Quantity}
    rates = {q: rates_of(entry, sheet, stage, q) for q in Quantity}
    return Tank(
        id=entry.id,
        name=entry.name,
        litres=entry.litres,
        heater_watts=entry.heater_watts,
        covered=entry.covered,
        place=Place(rack=entry.rack, shelf=entry.shelf, place=entry.place),
        species=entry.species,
        portion=entry.portion,
        stage=stage,
        windows={q: window for q, window in windows.items() if window is not None},
        rates={q: limits for q, limits in rates.items() if limits},
    )


def window_of(
    entry: TankEntry, sheet: SpeciesSheet | None, stage: Stage, quantity: Quantity
) -> Window | None:
    """The window of one quantity in `stage`, or None. Raises ValueError as `tank_of`."""
    found = sheet.window(stage, quantity) if sheet else None
    if found is None and quantity in DERIVED:
        found = derived.window(quantity, stage)
    for override in _window_overrides(entry, stage, quantity):
        found = _over(found, override)
    return found


def _window_overrides(
    entry: TankEntry, stage: Stage, quantity: Quantity
) -> tuple[WindowOverride, ...]:
    """For every stage first, for this one last, so that the narrower word wins."""
    general: WindowOverride | None = getattr(entry.windows, quantity)
    special: QuantityWindows | None = getattr(entry.windows, stage)
    own: WindowOverride | None = getattr(special, quantity) if special else None
    return tuple(o for o in (general, own) if o is not None)


def _over(under: Window | None, override: WindowOverride) -> Window:
    low, high = override.low, override.high
    both = low is not None and high is not None
    if under is None or both:
        return Window(low=low, high=high, basis=Basis.KEEPER, source=KEEPER)
    side = "low" if low is not None else "high"
    return Window(
        low=under.low if low is None else low,
        high=under.high if high is None else high,
        basis=Basis.KEEPER,
        source=f"{side}: {KEEPER}; the other side: {under.source}",
    )


def rates_of(
    entry: TankEntry, sheet: SpeciesSheet | None, stage: Stage, quantity: Quantity
) -> tuple[RateLimit, ...]:
    """The rate limits of one quantity in `stage`; the keeper's replace the sheet's."""
    special: QuantityRates | None = getattr(entry.rates, stage)
    own: list[RateOverride] | None = getattr(special, quantity) if special else None
    if own is None:
        own = getattr(entry.rates, quantity)
    if own is None:
        return sheet.rate_limits(stage, quantity) if sheet else ()
    return tuple(
        RateLimit(
            span_ms=limit.span,
            rise=limit.rise,
            fall=limit.fall,
            basis=Basis.KEEPER,
            source=KEEPER,
        )
        for limit in own
    )


def check_tanks(document: Document, tanks: Placed, sheets: Sheets) -> None:
    """Note everything that is wrong between tanks, species sheets and overrides."""
    ids: dict[str, int] = {}
    places: dict[tuple[str, int, int], str] = {}
    for index, entry in tanks:
        path: KeyPath = ("tank", index)
        _check_id(document, path, entry, ids)
        if entry.species and entry.species not in sheets.known:
            cure = did_you_mean(entry.species, sheets.known)
            document.fault((*path, "species"), f"there is no species sheet {entry.species!r}", cure)
        if "place" in entry.model_fields_set:
            other = places.setdefault((entry.rack, entry.shelf, entry.place), entry.id)
            if other != entry.id:
                document.fault(
                    (*path, "place"),
                    f"tank {other} stands in the same place",
                    "Count places along the shelf from the left, from 1",
                )
        for quantity in Quantity:
            _check_windows(document, path, entry, sheets.by_id.get(entry.species), quantity)


def _check_id(document: Document, path: KeyPath, entry: TankEntry, ids: dict[str, int]) -> None:
    if entry.id.lower() == ROOM:
        document.fault(
            (*path, "id"),
            f"{entry.id!r} is the word for the room itself, no tank may take it",
            'Write the tank\'s own sign, like "A3"',
        )
    # probes are named after tanks in lower case, so `a1` and `A1` would meet there
    first = ids.setdefault(entry.id.lower(), path[1] if isinstance(path[1], int) else 0)
    if first != path[1]:
        document.fault(
            (*path, "id"),
            f"a second tank {entry.id!r}; the first is on line {document.line_of(('tank', first))}",
            "Give each tank an id of its own",
        )


def _check_windows(
    document: Document,
    path: KeyPath,
    entry: TankEntry,
    sheet: SpeciesSheet | None,
    quantity: Quantity,
) -> None:
    """All stages, because a window upside down in another one would wait for its day."""
    upside_down: dict[tuple[KeyPath, str], list[Stage]] = {}
    for stage in Stage:
        special: QuantityWindows | None = getattr(entry.windows, stage)
        own = getattr(special, quantity) if special else None
        override: WindowOverride | None = own or getattr(entry.windows, quantity)
        if override is None:
            continue
        place = (*path, "windows", *([stage.value] if own else []), quantity.value)
        if override.low is None and override.high is None:
            document.fault(place, "a window without a bound", "Write low = or high = or both")
            continue
        try:
            window_of(entry, sheet, stage, quantity)
        except ValueError as error:
            side = "low" if override.low is not None else "high"
            what = str(error).partition("; ")[0]
            if override.low is None or override.high is None:
                sheets = sheet is not None and sheet.window(stage, quantity) is not None
                what = f"{what}, which is {'the species sheet' if sheets else 'Roewatch'}'s"
            upside_down.setdefault(((*place, side), what), []).append(stage)
    for (place, what), stages in upside_down.items():
        if ", which is " not in what:
            document.fault(place, what, "Swap the two numbers, or mend them")
            continue
        document.fault(
            place,
            f"in stage {', '.join(stages)}: {what}",
            f"Write both bounds, or this one for a stage only: windows.<stage>.{quantity}",
        )
