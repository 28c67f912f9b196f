"""The report of a brood: one self-contained page with everything that was seen, done and meant."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from zoneinfo import ZoneInfo

from markupsafe import Markup

from roewatch.alarms.alarm import Alarm
from roewatch.breeding.brood import Brood, Stay
from roewatch.breeding.count import Counted
from roewatch.room.journal import JournalEntry
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.tank import Room
from roewatch.views.brood_bar import bar_svg
from roewatch.views.brood_counts import rate_words
from roewatch.views.brood_events import event_marks, events_of
from roewatch.views.brood_history import HistoryLine, history
from roewatch.views.brood_plan import Difference, differences
from roewatch.views.brood_ports import BroodBook
from roewatch.views.brood_water import WaterRow, water_rows
from roewatch.views.brood_words import (
    COUNTS,
    OUTCOMES,
    PLAN,
    Line,
    PaperWords,
    bar_for,
    day_words,
    ended_words,
    lines,
    stay_words,
    tanks_words,
)
from roewatch.views.chart import ChartSpec, summary, svg
from roewatch.views.pages import environment, static_bytes
from roewatch.views.palette import Theme
from roewatch.views.ports import Records
from roewatch.views.rescaled import rescaled
from roewatch.views.standing import alarm_words
from roewatch.views.units import KEPT_UNITS, Units
from roewatch.views.week import (
    Look,
    Past,
    chart_of,
    deed_words,
    letter,
    quantities_of,
    stage_named,
)
from roewatch.views.wording import species_name

WIDTH = 700
_HEIGHT = 105
_MOST_MS = 400 * DAY_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """What a report is made from. judged: the room's tanks stand in their present stages."""

    records: Records
    room: Room
    broods: BroodBook
    past: Past
    judged: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One chart, with its sentence."""

    title: str
    svg: Markup
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything the page says, in its order."""

    brood: Brood
    lines: Sequence[Line]
    counts: Sequence[tuple[str, str]]
    rates: str
    differences: Sequence[Difference]
    charts: Sequence[Drawn]
    water: Sequence[WaterRow]
    alarms: Sequence[Alarm]
    deeds: Sequence[tuple[str, JournalEntry]]
    history: Sequence[HistoryLine]


def span_of_brood(brood: Brood, now_ms: int) -> tuple[int, int]:
    """From the first thing told of it to its end, or now; an hour at least."""
    known = [at for at in (brood.started_ms, brood.spawned_ms) if at is not None]
    known += [record.at_ms for record in brood.records[:1]]
    begin = max(min(known, default=now_ms - DAY_MS), now_ms - _MOST_MS)
    end = min(brood.ended_ms if brood.ended_ms is not None else now_ms, now_ms)
    return min(begin, end - HOUR_MS), end


def stays_within(brood: Brood, from_ms: int, to_ms: int) -> list[Stay]:
    """The tanks it was in, each cut to the span; stays of under an hour are passed over."""
    found = []
    for stay in brood.tanks:
        begin, end = max(stay.from_ms, from_ms), min(stay.to_ms or to_ms, to_ms)
        if end - begin >= HOUR_MS:
            found.append(Stay(tank=stay.tank, from_ms=begin, to_ms=end))
    return found


def chart_specs(
    sources: Sources, brood: Brood, stays: Sequence[Stay], now_ms: int
) -> list[tuple[Stay, Quantity, ChartSpec]]:
    """One chart for each quantity measured in each tank the brood was in."""
    known = {tank.id for tank in sources.room.tanks}
    look = Look(
        theme=Theme.PRINT,
        width=WIDTH,
        height=_HEIGHT,
        judged=sources.judged,
        past=sources.past,
    )
    marks = event_marks(events_of(brood, *span_of_brood(brood, now_ms)))
    found: list[tuple[Stay, Quantity, ChartSpec]] = []
    for stay in stays:
        for quantity in quantities_of(sources.room, stay.tank) if stay.tank in known else ():
            spec = chart_of(
                sources.records,
                sources.room,
                stay.tank,
                quantity,
                from_ms=stay.from_ms,
                to_ms=stay.to_ms or now_ms,
                now_ms=now_ms,
                look=look,
            )
            named = f"{spec.id}-{len(found)}"  # one page holds them all
            found.append((stay, quantity, replace(spec, id=named, events=spec.events + marks)))
    return found


def report_of(sources: Sources, brood: Brood, now_ms: int, units: Units = KEPT_UNITS) -> Report:
    """The whole report of a brood as of `now_ms`."""
    say = PaperWords(now_ms, ZoneInfo(sources.room.zone))
    from_ms, to_ms = span_of_brood(brood, now_ms)
    stays = stays_within(brood, from_ms, to_ms)
    specs = chart_specs(sources, brood, stays, now_ms)
    outlook = sources.broods.outlook(brood, now_ms)
    return Report(
        brood=brood,
        lines=lines(brood, outlook.forecast, say),
        counts=[(COUNTS[k], brood.counts[k].text) for k in Counted if k in brood.counts],
        rates=rate_words(brood),
        differences=differences(sources.broods, brood, specs, say, units),
        charts=[
            Drawn(
                title=spec.title,
                svg=Markup(svg(spec)),  # noqa: S704 our own drawing, every text in it escaped
                words=summary(spec),
            )
            for spec in (rescaled(spec, units) for _, _, spec in specs)
        ],
        water=water_rows(specs, {stay.tank: _stage_at(sources, stay) for stay in stays}),
        alarms=_alarms(sources.records, stays),
        deeds=[
            (letter(entry), entry)
            for stay in stays
            for entry in sources.records.journal(stay.tank, stay.from_ms, stay.to_ms or now_ms)
        ],
        history=history(brood, now_ms, say)[::-1],
    )


def _stage_at(sources: Sources, stay: Stay) -> str:
    """The stage a tank was in where a stay begins, by the journal, else by the settings."""
    journal = sources.records.journal(stay.tank, 0, stay.from_ms + 1)
    named = [stage for entry in journal if (stage := stage_named(entry)) is not None]
    return str(named[-1] if named else sources.past.named_of(stay.tank) or "")


def _alarms(records: Records, stays: Sequence[Stay]) -> list[Alarm]:
    """What rang, in the order it began; what is only journalled did not ring."""
    found = {
        alarm.number: alarm
        for stay in stays
        for alarm in records.alarms(tank=stay.tank, from_ms=stay.from_ms, to_ms=stay.to_ms)
        if alarm.priority is not Priority.JOURNAL
    }
    return sorted(found.values(), key=lambda alarm: alarm.since_ms)


def _style() -> str:
    return static_bytes("paper.css").decode()


def style_hash() -> str:
    """What a content-security policy calls the report's own style sheet by."""
    return "sha256-" + b64encode(sha256(_style().encode()).digest()).decode()


def report_html(
    sources: Sources,
    brood: Brood,
    now_ms: int,
    units: Units = KEPT_UNITS,
    *,
    theme: str = "",
    back: str = "",
) -> str:
    """The report as one HTML file that asks for nothing outside itself.

    theme: the light a screen shows it in. back: where a link leads back to; a file has none.
    """
    say = PaperWords(now_ms, ZoneInfo(sources.room.zone))
    report = report_of(sources, brood, now_ms, units)
    outlook = sources.broods.outlook(brood, now_ms)
    title = f"Brood {brood.id}: {day_words(brood, now_ms)}"
    bar = bar_svg(bar_for(brood, outlook.forecast, now_ms), title=title, width=WIDTH)
    template = environment(units).get_template("brood_report.html")
    return template.render(
        style=Markup(_style()),  # noqa: S704 our own file
        room=sources.room,
        brood=brood,
        report=report,
        say=say,
        bar=Markup(bar),  # noqa: S704 our own drawing, every text in it escaped
        day_words=day_words(brood, now_ms),
        species=species_name(brood.species),
        tanks=[(stay.tank, stay_words(stay, say)) for stay in brood.tanks],
        tanks_words=tanks_words(brood),
        plan=[(PLAN.get(name, name), text) for name, text in brood.plan.items() if text],
        ended=ended_words(brood),
        outcome=OUTCOMES[brood.outcome] if brood.outcome else "",
        printed=say.when(now_ms),
        deed_words=deed_words,
        alarm_words=alarm_words,
        kept=KEPT,
        minute_ms=MINUTE_MS,
        theme=theme,
        back=back,
    )
