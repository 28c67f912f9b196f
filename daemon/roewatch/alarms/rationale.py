"""The rationalised list: every alarm kind once, with its reason, its time and its first act."""

from collections.abc import Mapping
from types import MappingProxyType

from roewatch.alarms.rationale_brood import BROOD
from roewatch.alarms.rationale_entry import Rationale
from roewatch.alarms.rationale_equipment import EQUIPMENT
from roewatch.alarms.rationale_probe import PROBE, PROGRAM
from roewatch.alarms.rationale_water import WATER
from roewatch.judging.finding import Forecast
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import HOUR_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.stage import YOUNG, Stage

SOON_MS = HOUR_MS
"""A forecast that leaves the window sooner than this raises the priority one step."""

RATIONALE: Mapping[Kind, Rationale] = MappingProxyType(
    {**WATER, **EQUIPMENT, **BROOD, **PROBE, **PROGRAM}
)

_STEP_UP = {Priority.LOW: Priority.MEDIUM, Priority.MEDIUM: Priority.HIGH}


def rationale_of(kind: Kind, quantity: Quantity | None = None) -> Rationale:
    """The rationale of `kind`, in the words that fit `quantity`."""
    return RATIONALE[kind].about(quantity)


def title_of(kind: Kind, quantity: Quantity | None) -> str:
    """What a lock screen says after the place: `pH above window`."""
    name = KEPT[quantity].name if quantity else "value"
    title = RATIONALE[kind].title
    if quantity is None:
        title = title.replace("{quantity} ", "")
    return title.replace("{quantity}", name)


def priority_of(
    kind: Kind,
    stage: Stage | None,
    forecast: Forecast | None,
    now_ms: int,
    quantity: Quantity | None = None,
) -> Priority:
    """How urgent `kind` is: by consequence and time left, never by how far out the value is.

    stage: the tank's, or None for the room. One step up with eggs, larvae or fry in the tank,
    and one when the forecast leaves less than an hour; a journal kind never rises.
    """
    rationale = rationale_of(kind, quantity)
    priority = rationale.priority
    if not rationale.rises:
        return priority
    if stage in YOUNG:
        priority = _STEP_UP.get(priority, priority)
    if forecast is not None and _exit_ms(forecast, now_ms) - now_ms < SOON_MS:
        priority = _STEP_UP.get(priority, priority)
    return priority


def latches(kind: Kind, stage: Stage | None, quantity: Quantity | None = None) -> bool:
    """Whether harm done by `kind` in `stage` is done once, so that the alarm waits for a reset."""
    return stage in YOUNG and rationale_of(kind, quantity).latches


def exit_ms(forecast: Forecast | None) -> int | None:
    """The moment to show and to plan by: the likely exit, else the earliest, else None."""
    if forecast is None:
        return None
    return forecast.likely_ms if forecast.likely_ms is not None else forecast.earliest_ms


def rationale_table() -> str:
    """The whole list as a Markdown table, for the documentation."""
    lines = [
        "| alarm | priority | cause | consequence | time (eggs, fry) | first act | care |",
        "|---|---|---|---|---|---|---|",
    ]
    for kind in Kind:
        whole = RATIONALE[kind]
        lines.append(_row(f"`{kind}`", whole))
        lines += [
            _row(f"`{kind}`, {KEPT[quantity].name}", whole.about(quantity))
            for quantity in whole.by_quantity
        ]
    return "\n".join(lines) + "\n"


def _exit_ms(forecast: Forecast, now_ms: int) -> int:
    # the pessimistic bound: too early a call costs a look, too late a one costs fish
    bounds = (forecast.earliest_ms, forecast.likely_ms)
    return min((bound for bound in bounds if bound is not None), default=now_ms + SOON_MS)


def _row(name: str, rationale: Rationale) -> str:
    rises = ", rises" if rationale.rises else ""
    latched = ", latches over eggs and fry" if rationale.latches else ""
    times = f"{rationale.respond_within(None)} ({rationale.respond_within(Stage.EGGS)})"
    cells = (
        name,
        f"{rationale.priority}{rises}{latched}",
        rationale.cause,
        rationale.consequence,
        times,
        rationale.first_act,
        rationale.caution,
    )
    return f"| {' | '.join(cells)} |"
