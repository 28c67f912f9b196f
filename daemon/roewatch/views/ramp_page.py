"""The ramp page: a tank led to other water by dated changes, shown on its chart before it begins.

The whole question stands in the address; the same fields, posted, start exactly what was shown.
"""

from collections.abc import Mapping
from dataclasses import replace
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from roewatch.breeding.ramp import Ramp
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.views.act import Fields, back
from roewatch.views.asked import AskedWrongError
from roewatch.views.brood_words import PaperWords
from roewatch.views.chart import svg
from roewatch.views.pages import Desk, Words, units_of
from roewatch.views.ramp_asked import (
    RAMP_MEASURES,
    Preview,
    give_up,
    mix_words,
    previewed,
    start,
    wanted_of,
)
from roewatch.views.rescaled import rescaled
from roewatch.views.sight import Sight
from roewatch.views.typed import kept_fields, shown_fields
from roewatch.views.units import Units
from roewatch.views.visitor import Visitor
from roewatch.views.water_page import rows_of
from roewatch.views.week import Look, chart_of, quantities_of

_BEFORE_MS = 3 * DAY_MS


def _charts(desk: Desk, sight: Sight, ramp: Ramp, units: Units) -> list[tuple[Quantity, Markup]]:
    """The tank's own charts with the ramp's plan on them, before anything takes effect."""
    charts = []
    probed = quantities_of(sight.room, ramp.tank)
    for plan in sorted(ramp.plans(), key=lambda plan: plan.quantity is not Quantity.PH):
        if plan.quantity not in probed and plan.quantity is not Quantity.PH:
            continue
        spec = chart_of(
            desk.records,
            sight.room,
            ramp.tank,
            plan.quantity,
            from_ms=sight.now_ms - _BEFORE_MS,
            to_ms=ramp.ends_ms + 6 * HOUR_MS,
            now_ms=sight.now_ms,
            look=Look(width=None, height=180, judged=True, past=desk.past),
        )
        spec = rescaled(replace(spec, plans=(plan,), forecast=None), units)
        charts.append((plan.quantity, Markup(svg(spec))))  # noqa: S704 our own drawing, escaped
    return charts


def ramp_page(desk: Desk, request: Request) -> Response:
    """Where a tank is to be led, and how the way there looks. Raises NotHereError for no tank."""
    sight = desk.lookout.look()
    query = dict(request.query_params)
    if "for" not in query or not sight.room.tanks:
        raise AskedWrongError("Choose the tank on the water page first.")
    return _shown(desk, request, sight, query)


def _shown(
    desk: Desk, request: Request, sight: Sight, typed: Mapping[str, str], *, card: bool = False
) -> Response:
    query, units = kept_fields(typed, RAMP_MEASURES), units_of(request)
    shown = shown_fields(query, RAMP_MEASURES, units)
    wanted = wanted_of(sight, query)
    preview = Preview()
    if any(row.poured for row in rows_of(query)):
        preview = previewed(wanted, query, sight.now_ms, sight.room.zone)
    found, ramp = preview.found, preview.ramp
    zone = ZoneInfo(sight.room.zone)
    return desk.page(
        request,
        "ramp_card.html" if card else "ramp.html",
        sight,
        say=PaperWords(sight.now_ms, zone) if card else Words(sight.now_ms, zone),
        wanted=wanted.shown(units),
        query={k: v for k, v in shown.items() if k not in {"token", "back"}},
        rows=rows_of(shown),
        found=found,
        ramp=ramp,
        litres=sum(step.litres for step in ramp.steps) if ramp else 0.0,
        mix=mix_words(found.vat) if found else "",
        charts=_charts(desk, sight, ramp, units) if ramp and not card else [],
        refusal=preview.refusal,
        running=[p for p in desk.records.plans(wanted.tank.id) if p.steps[-1].at_ms > sight.now_ms],
    )


def ramp_card(desk: Desk, request: Request) -> Response:
    """The same as a card to print and take along."""
    query = dict(request.query_params)
    if "for" not in query:
        raise AskedWrongError("A card is for one tank; choose it on the water page.")
    return _shown(desk, request, desk.lookout.look(), query, card=True)


def start_ramp(desk: Desk, _: Request, fields: Fields, by: Visitor) -> Response:
    """Put the ramp's plan on the tank's charts, and say so in its records."""
    kept = kept_fields(fields, RAMP_MEASURES)
    told = start(desk, kept, by.name)
    return back({"back": f"/tank/{kept['for']}"}, told)


def end_ramp(desk: Desk, _: Request, fields: Fields, by: Visitor) -> Response:
    """Give up what is planned for a tank."""
    tank = fields.get("for", "")
    told = give_up(desk, tank, by.name)
    return back({"back": f"/tank/{tank}"}, told)
