"""A week: the chart of one tank's quantity over a span, gathered from the records."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.rationale import title_of
from roewatch.judging.finding import Forecast
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import Probe, Room, Tank
from roewatch.room.window import Window
from roewatch.views.palette import Theme
from roewatch.views.plot import AlarmMark, ChartSpec, EventMark, StageMark
from roewatch.views.ports import Records
from roewatch.views.trace import WindowSpan

COLUMNS = 600
"""Four readings a column keep every peak, and half a pixel on a phone hides nothing."""

WindowsOf = Callable[[Tank, Stage], Mapping[Quantity, Window]]
"""What a tank would be judged by in a stage, the keeper's own numbers applied."""

_LONG_MS = 30 * DAY_MS
"""An alarm that began so long before a chart does may still reach into it."""

_LETTERS = {
    Deed.WATER_CHANGE: "W",
    Deed.CALIBRATION: "C",
    Deed.STAGE: "›",
    Deed.NOTE: "N",
}


def of_settings(tank: Tank, stage: Stage) -> Mapping[Quantity, Window]:
    """The windows a tank carries itself: those of its stage, none for another."""
    return tank.windows if stage is tank.stage else {}


def _nobody_knows(_: str) -> Stage | None:
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What charts of the past need beyond the records.

    windows_of: what a tank was judged by in a stage. named_of: the stage the settings name for a
    tank's id, which it was in before the journal's first word; None if nobody knows.
    """

    windows_of: WindowsOf = of_settings
    named_of: Callable[[str], Stage | None] = _nobody_knows


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a chart is to look; without a width it is fluid and takes the page's colours.

    judged: the room is as it is judged now, every tank in its present stage; else it is as the
    settings have it, and the journal's last word is the newer one.
    """

    theme: Theme = Theme.NIGHT
    width: int | None = 1000
    height: int = 320
    links: bool = False
    judged: bool = False
    past: Past = Past()


def letter(entry: JournalEntry) -> str:
    """The letter a deed is marked with on a chart's lower edge."""
    return _LETTERS[entry.deed]


def deed_words(entry: JournalEntry) -> str:
    """A deed in words: `water change, 20 %`."""
    name = entry.deed.value.replace("-", " ")
    return f"{name}, {entry.detail}" if entry.detail else name


def stage_named(entry: JournalEntry) -> Stage | None:
    """The stage an entry puts its tank into; None for any other entry."""
    word = entry.detail.strip().lower()
    return Stage(word) if entry.deed is Deed.STAGE and word in set(Stage) else None


def stages(
    journal: Sequence[JournalEntry],
    from_ms: int,
    to_ms: int,
    *,
    before: Stage | None,
    now: Stage | None,
) -> list[tuple[int, int, Stage | None]]:
    """The stages a tank was in between two moments, as (from_ms, to_ms, stage).

    before: the stage until the first entry, None if nobody knows. now: the stage since the last
    one, None to take that entry's word.
    """
    found: list[tuple[int, int, Stage | None]] = []
    changes = [(e.at_ms, stage) for e in journal if (stage := stage_named(e)) and e.at_ms < to_ms]
    if not changes:
        return [(from_ms, to_ms, now or before)]
    changes.sort()
    if now is not None:
        changes[-1] = (changes[-1][0], now)
    begin, stage = from_ms, before
    for at_ms, following in changes:
        if at_ms > begin:
            found.append((begin, at_ms, stage))
            begin = at_ms
        stage = following
    return [*found, (begin, to_ms, stage)]


def probes_of(room: Room, tank_id: str, quantity: Quantity) -> list[Probe]:
    """The probes that measure a quantity in a tank, in the order of the settings."""
    return [p for p in room.probes if p.tank == tank_id and p.quantity is quantity]


def quantities_of(room: Room, tank_id: str) -> list[Quantity]:
    """What is measured in a tank: pH and temperature first, then as the settings have them."""
    first = [Quantity.PH, Quantity.TEMPERATURE]
    here = dict.fromkeys(p.quantity for p in room.probes if p.tank == tank_id)
    return [q for q in first if q in here] + [q for q in here if q not in first]


def _marks(
    alarms: Sequence[Alarm], quantity: Quantity, from_ms: int, to_ms: int
) -> tuple[AlarmMark, ...]:
    marks = [
        AlarmMark(
            number=alarm.number,
            from_ms=alarm.since_ms,
            to_ms=None if alarm.present else alarm.returned_ms,
            text=f"no. {alarm.number}: {title_of(alarm.kind, alarm.quantity)}. {alarm.message}",
        )
        for alarm in alarms
        if alarm.quantity in {quantity, None}
        and alarm.priority is not Priority.JOURNAL
        and alarm.since_ms < to_ms
        and (alarm.present or (alarm.returned_ms or alarm.since_ms) >= from_ms)
    ]
    return tuple(sorted(marks, key=lambda mark: mark.from_ms))


def chart_of(  # noqa: PLR0913 one call from a script says it all
    records: Records,
    room: Room,
    tank_id: str,
    quantity: Quantity,
    *,
    from_ms: int,
    to_ms: int,
    now_ms: int,
    look: Look = Look(),
) -> ChartSpec:
    """One chart from what is kept. Raises KeyError for a tank that is not in the room.

    from_ms, to_ms: the span drawn, which may reach past now_ms to show plan and forecast.
    """
    tank = room.tank(tank_id)
    probes = probes_of(room, tank_id, quantity)
    journal = records.journal(tank_id, 0, max(to_ms, now_ms + 1))
    # a stage entered after the span says nothing of it, and the present one then neither
    since = any(entry.at_ms >= to_ms and stage_named(entry) for entry in journal)
    journal = [entry for entry in journal if entry.at_ms < to_ms]
    in_stage = stages(
        journal,
        from_ms,
        to_ms,
        before=look.past.named_of(tank_id) if look.judged else tank.stage,
        now=tank.stage if look.judged and not since else None,
    )
    until_ms = min(to_ms, now_ms + 1)
    began = records.alarms(tank=tank_id, from_ms=from_ms - _LONG_MS, to_ms=to_ms)
    still = records.alarms(tank=tank_id, open_only=True)
    by_number = {alarm.number: alarm for alarm in (*began, *still)}
    alarms = sorted(by_number.values(), key=lambda a: a.raised_ms, reverse=True)
    return ChartSpec(
        id=f"c-{quantity.value}",
        title=f"{tank_id} {KEPT[quantity].name}",
        quantity=quantity,
        from_ms=from_ms,
        to_ms=to_ms,
        now_ms=now_ms,
        zone=room.zone,
        series=[records.series(p, from_ms, until_ms, COLUMNS) for p in probes],
        columns=COLUMNS,
        windows=tuple(
            WindowSpan(from_ms=a, to_ms=b, window=_window(look, tank, stage, quantity))
            for a, b, stage in in_stage
        ),
        plans=tuple(plan for plan in records.plans(tank_id) if plan.quantity is quantity),
        alarms=_marks(alarms, quantity, from_ms, to_ms),
        events=tuple(
            EventMark(at_ms=e.at_ms, letter=letter(e), text=deed_words(e))
            for e in journal
            if e.at_ms >= from_ms and e.deed is not Deed.STAGE
        ),
        stages=tuple(StageMark(at_ms=a, word=str(stage)) for a, _, stage in in_stage[1:]),
        forecast=_forecast(alarms, quantity),
        theme=look.theme,
        width=look.width,
        height=look.height,
        links=look.links,
    )


def _window(look: Look, tank: Tank, stage: Stage | None, quantity: Quantity) -> Window | None:
    """What a tank was judged by in a stage; what it is judged by now is its own word."""
    if stage is None:
        return None
    if stage is tank.stage:
        return tank.windows.get(quantity)
    return look.past.windows_of(tank, stage).get(quantity)


def _forecast(alarms: Sequence[Alarm], quantity: Quantity) -> Forecast | None:
    """The forecast of the newest alarm that still holds, if it has one."""
    for alarm in alarms:
        if alarm.present and alarm.quantity is quantity and alarm.forecast is not None:
            return alarm.forecast
    return None
