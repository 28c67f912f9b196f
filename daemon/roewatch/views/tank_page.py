"""The tank page: what is now against the window, one chart a quantity, what was done."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from roewatch.judging.finding import Forecast
from roewatch.room.measured import apart
from roewatch.room.moment import DAY_MS, HOUR_MS, iso, span_text
from roewatch.room.quantity import KEPT, Quantity, shown_difference
from roewatch.room.reading import Flag
from roewatch.room.tank import Tank
from roewatch.views.alarm_page import alarm_mark, state_words
from roewatch.views.brood_events import brood_events, event_marks
from roewatch.views.chart import ChartSpec, summary, svg
from roewatch.views.hours import Row, hour_rows
from roewatch.views.learned import learned_words
from roewatch.views.outlook import LOOK_BACK_MS, Outlook, of_judge, outlook_of
from roewatch.views.pages import Desk, units_of
from roewatch.views.racks import racks_of
from roewatch.views.records_page import records_of, usual_changes, words_of_records
from roewatch.views.rescaled import rescaled
from roewatch.views.sight import Sight
from roewatch.views.spans import CHOICES, Span, span_of
from roewatch.views.standing import Mark, Measured, Standing
from roewatch.views.trace import trace_of
from roewatch.views.units import Units
from roewatch.views.week import (
    Look,
    chart_of,
    letter,
    probes_of,
    quantities_of,
    stage_named,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Charted:
    """One chart as the page shows it."""

    id: str
    quantity: Quantity
    svg: Markup
    summary: str
    forecast: bool
    planned: bool
    windowed: bool


def value_words(measured: Measured) -> str:
    """A value's state in words: `inside`, `above by 1.4 °C`, `silent`."""
    if measured.mark is Mark.OUTSIDE:
        side = "above" if measured.outside_by > 0 else "below"
        return f"{side} by {shown_difference(measured.quantity, abs(measured.outside_by))}"
    if measured.mark is Mark.NEAR:
        return "near the edge"
    return "" if measured.mark is Mark.BLANK else measured.mark.value


def rate_words(tank: Tank, measured: Measured) -> str:
    """The rate of change in a sentence of its own, with the limit nearest to it."""
    if measured.silent:
        return "Cannot say how fast it changes or where it goes: the probe is silent."
    if measured.per_hour is None:
        return "Rate of change: cannot say, too few readings in the last hour."
    kept = KEPT[measured.quantity]
    rate = apart(f"{abs(measured.per_hour):.{kept.digits + 1}f}", kept.unit)
    text = f"{(measured.direction or 'steady').capitalize()}, {rate} an hour"
    rising = measured.per_hour > 0
    limits = [
        f"limit {apart(f'{limit.rise if rising else limit.fall:g}', kept.unit)} in "
        f"{span_text(limit.span_ms)}"
        for limit in tank.rates.get(measured.quantity, ())
    ]
    return f"{text} ({', '.join(limits)})." if limits else f"{text}."


def stage_day(desk: Desk, sight: Sight, tank_id: str) -> int | None:
    """Which day of its stage a tank is in, counted from 1; None when no entry says."""
    entries = desk.records.journal(tank_id, 0, sight.now_ms + 1)
    named = [(entry.at_ms, stage) for entry in entries if (stage := stage_named(entry))]
    if not named or max(named)[1] is not sight.of(tank_id).stage:
        return None
    return (sight.now_ms - max(named)[0]) // DAY_MS + 1


def outlooks(desk: Desk, sight: Sight, standing: Standing) -> dict[str, Outlook]:
    """What to expect of each probe of a tank; the judge's own forecast before ours."""
    found = {}
    judged = {
        alarm.quantity: alarm.forecast
        for alarm in standing.alarms
        if alarm.present and alarm.forecast is not None
    }
    for measured in standing.measured:
        begin = sight.now_ms - LOOK_BACK_MS
        series = desk.records.series(measured.probe, begin, sight.now_ms + 1, 180)
        believed = measured.latest is not None and measured.latest.flag is not Flag.BAD
        value = measured.latest.value if measured.latest and believed else None
        told = outlook_of(series, measured.window, None if measured.silent else value, sight.now_ms)
        forecast = judged.get(measured.quantity)
        if forecast and not measured.silent and _ahead(forecast, sight.now_ms):
            told = of_judge(forecast, sight.now_ms)
        found[measured.probe.id] = told
    return found


def _ahead(forecast: Forecast, now_ms: int) -> bool:
    return forecast.likely_ms is not None and forecast.likely_ms > now_ms


def _charted(
    desk: Desk,
    sight: Sight,
    tank_id: str,
    quantity: Quantity,
    span: Span,
    expected: Mapping[str, Outlook],
    units: Units,
) -> Charted:
    spec = page_chart(desk, sight, tank_id, quantity, span)
    crossing = next(
        (expected[p.id].crossing for p in probes_of(sight.room, tank_id, quantity)), None
    )
    if span.open and spec.forecast is None and crossing is not None:
        spec = replace(spec, forecast=crossing)
    spec = rescaled(spec, units)
    return Charted(
        id=spec.id,
        quantity=quantity,
        svg=Markup(svg(spec)),  # noqa: S704 our own drawing, every text in it escaped
        summary=summary(spec),
        forecast=spec.forecast is not None,
        planned=bool(spec.plans),
        windowed=any(part.window for part in spec.windows),
    )


def page_chart(
    desk: Desk, sight: Sight, tank_id: str, quantity: Quantity, span: Span, look: Look | None = None
) -> ChartSpec:
    """The chart of one quantity over a span; fluid unless `look` says otherwise."""
    spec = chart_of(
        desk.records,
        sight.room,
        tank_id,
        quantity,
        from_ms=span.from_ms,
        to_ms=span.drawn_to_ms,
        now_ms=sight.now_ms,
        look=look or Look(width=None, height=220, links=True, judged=True, past=desk.past),
    )
    marks = event_marks(brood_events(desk, tank_id, span.from_ms, span.drawn_to_ms))
    return replace(spec, events=spec.events + marks)


def _rows(desk: Desk, sight: Sight, tank_id: str, quantity: Quantity, span: Span) -> list[Row]:
    """Hour rows from unthinned readings while that is a week or less."""
    spec = page_chart(desk, sight, tank_id, quantity, span)
    series = spec.series
    if span.length_ms <= 8 * DAY_MS:
        until_ms = min(span.until_ms, sight.now_ms) + 1
        probes = probes_of(sight.room, tank_id, quantity)
        series = [desk.records.series(p, span.from_ms, until_ms) for p in probes]
    traces = [trace_of(one, spec.columns) for one in series]
    return hour_rows(
        traces, spec.windows, from_ms=span.from_ms, to_ms=span.until_ms, zone=sight.room.zone
    )


def tank_page(desk: Desk, request: Request) -> Response:
    """The page of one tank. Raises NotHereError for a tank, AskedWrongError for a span."""
    sight = desk.lookout.look()
    standing = sight.of(request.path_params["tank"])
    tank = standing.tank
    query = request.query_params
    span = span_of(query.get("span", "7d"), query.get("until", ""), sight.now_ms)
    quantities = quantities_of(sight.room, tank.id)
    expected = outlooks(desk, sight, standing)
    units = units_of(request)
    charts = [_charted(desk, sight, tank.id, q, span, expected, units) for q in quantities]
    table_of = next((q for q in quantities if q.value == query.get("table")), None)
    records = records_of(desk, tank.id, span.from_ms, span.until_ms + HOUR_MS, sight.now_ms)
    entries = [record.entry for record in records]
    events = brood_events(desk, tank.id, span.from_ms, span.until_ms + 1)
    counts = [m.quantity for m in standing.measured]
    rack = next(r for r in racks_of(sight.standings) if standing in r.standings)
    return desk.page(
        request,
        "tank.html",
        sight,
        tank=tank,
        standing=standing,
        measured=sorted(standing.measured, key=lambda m: quantities.index(m.quantity)),
        anchor=rack.anchor,
        stage_day=stage_day(desk, sight, tank.id),
        span=span,
        until=iso(span.until_ms),
        later=span.later(sight.now_ms),
        choices=CHOICES,
        charts=charts,
        forecast=any(chart.forecast for chart in charts),
        planned=any(chart.planned for chart in charts),
        table_of=table_of,
        rows=_rows(desk, sight, tank.id, table_of, span) if table_of else [],
        records=records,
        changes=usual_changes(entries[::-1]),
        letters=sorted(
            {(letter(e), e.deed.value.replace("-", " ")) for e in entries}
            | {(event.letter, event.name) for event in events}
        ),
        brood_events=events[::-1],
        **words_of_records(),
        alarm_mark=alarm_mark,
        state_words=state_words,
        value_words=value_words,
        expected=expected,
        learned=learned_words(tank, desk.live.learned(tank.id)),
        rate_words=partial(rate_words, tank),
        several=lambda quantity: counts.count(quantity) > 1,
    )
