"""Scoring: what the judge found of what was wrong, how early, and its cries for nothing."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import NamedTuple

from tests.bench.detection.notices import Rung
from tests.bench.detection.rooms import HEALTHY, Label

from roewatch.alarms.notice import About
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch_sim.excursion import Excursion
from roewatch_sim.fault import OF_THE_PROBE, FaultKind

RIGHT: dict[FaultKind, frozenset[Kind]] = {
    FaultKind.HEATER_DEAD: frozenset({Kind.HEATER_DEAD}),
    FaultKind.HEATER_STUCK_ON: frozenset({Kind.HEATER_STUCK_ON}),
    FaultKind.HEATER_WEAK: frozenset({Kind.HEATER_WEAK}),
    FaultKind.THERMOSTAT_MOVED: frozenset({Kind.THERMOSTAT_MOVED}),
    FaultKind.CYCLE_WIDE: frozenset({Kind.CYCLE_TOO_WIDE}),
    FaultKind.LID_OPEN: frozenset({Kind.LID_OPEN}),
    FaultKind.AERATION_STOP: frozenset({Kind.AERATION_STOPPED}),
    FaultKind.ROOM_COLD: frozenset({Kind.ROOM_HEATING_LOST}),
    FaultKind.POWER_CUT: frozenset({Kind.POWER_CUT}),
    FaultKind.BAD_WATER_CHANGE: frozenset({Kind.BAD_WATER_CHANGE}),
    FaultKind.ACID_OVERDOSE: frozenset({Kind.ACID_OVERDOSE}),
    FaultKind.HARD_WATER: frozenset({Kind.HARD_WATER}),
    FaultKind.PH_CRASH: frozenset({Kind.PH_CRASH}),
    FaultKind.PROBE_DRY: frozenset({Kind.PROBE_DRY}),
    FaultKind.PROBE_STUCK: frozenset({Kind.PROBE_STUCK}),
    FaultKind.PROBE_SILENT: frozenset({Kind.PROBE_SILENT}),
    FaultKind.PROBE_NOISY: frozenset({Kind.PROBE_NOISY}),
    FaultKind.PROBE_DRIFT: frozenset({Kind.PROBE_DRIFTING}),
    FaultKind.PROBE_PATCHY: frozenset({Kind.PROBE_PATCHY}),
    FaultKind.PROBE_SWAPPED: frozenset({Kind.PROBE_SWAPPED}),
    FaultKind.PROBE_BUFFER: frozenset({Kind.PROBE_IN_BUFFER}),
    FaultKind.SENSOR_ERROR: frozenset({Kind.PROBE_FAULT}),
    FaultKind.PROBE_CLOCK_BACK: frozenset({Kind.PROBE_CLOCK}),
    FaultKind.PROBE_CLOCK_FROZEN: frozenset({Kind.PROBE_CLOCK}),
    FaultKind.PROBE_CLOCK_AHEAD: frozenset({Kind.PROBE_CLOCK}),
}
WINDOW = frozenset({Kind.BELOW_WINDOW, Kind.ABOVE_WINDOW})
DIGEST = frozenset({Kind.HEATER_WORKS_HARDER, Kind.WATER_CHANGE})
LOW = frozenset({Kind.PROBE_NOISY, Kind.PROBE_PATCHY, Kind.PROBE_DRIFTING, Kind.CYCLE_TOO_WIDE,
                 Kind.THERMOSTAT_MOVED, Kind.LID_OPEN, Kind.PROBE_IN_BUFFER})  # fmt: skip
POURED = frozenset({FaultKind.BAD_WATER_CHANGE, FaultKind.ACID_OVERDOSE, FaultKind.HARD_WATER})
_WHOLE = frozenset({FaultKind.POWER_CUT, FaultKind.ROOM_COLD})
_POURED_MS = 8 * MINUTE_MS  # nobody can lead what is poured in; it must be found by then
_GRACE_MS = 2 * HOUR_MS
_AFTER_MS = 20 * HOUR_MS  # what a mended fault leaves behind is still its own


@dataclass
class Outcome:
    """One fault: what was found of it. lead_ms: None when the water never left its window."""

    label: Label
    found: bool = False
    right: bool = False
    first_right: bool = False
    late_ms: int = 0
    lead_ms: int | None = None
    told: list[str] = field(default_factory=list)


class Foretold(NamedTuple):
    """One forecast held against what came.

    came: the water left its window while the fault lasted; False when it stayed in although the
    whole range went by. inside: it left within the range. ahead_h: hours to the middle of the
    range. width: half the range over that.
    """

    came: bool
    inside: bool
    ahead_h: float
    width: float
    kind: str


@dataclass
class Score:
    """One room's outcomes."""

    outcomes: list[Outcome]
    false: list[Finding]
    false_room: list[Finding]
    extra: list[Finding]
    forecasts: list[Foretold]
    phone: int
    days: float
    rung: Rung


def raises(findings: Sequence[Finding]) -> list[Finding]:
    """The first telling of each episode, journal and digest left out."""
    standing: set[str] = set()
    begun = []
    for finding in findings:
        if not finding.present:
            standing.discard(finding.key)
        elif finding.key not in standing:
            standing.add(finding.key)
            if not finding.explained and finding.kind not in DIGEST:
                begun.append(finding)
    return begun


def score(
    findings: Sequence[Finding],
    labels: Sequence[Label],
    excursions: Sequence[Excursion],
    days: float,
    rung: Rung,
) -> Score:
    """Set findings against labels."""
    begun = raises(findings)
    mine: dict[int, list[Finding]] = defaultdict(list)
    false, false_room, extra = [], [], []
    for finding in begun:
        owners = [n for n, label in enumerate(labels) if _belongs(finding, label)]
        for n in owners:
            mine[n].append(finding)
        if owners:
            continue
        if finding.tank == ROOM:
            false_room.append(finding)
        elif finding.tank.startswith("H"):
            false.append(finding)
        else:
            extra.append(finding)
    outcomes = [_outcome(label, mine[n], excursions) for n, label in enumerate(labels)]
    phone = len([f for f in begun if f.kind not in LOW])
    forecasts = _forecasts(findings, labels, excursions)
    return Score(outcomes, false, false_room, extra, forecasts, phone, days, rung)


def _belongs(finding: Finding, label: Label) -> bool:
    if not label.fault.at_ms <= finding.at_ms <= label.until_ms + _AFTER_MS:
        return False
    if finding.tank == ROOM:
        return label.fault.kind in _WHOLE
    return finding.tank in label.tanks


def _outcome(label: Label, findings: list[Finding], excursions: Sequence[Excursion]) -> Outcome:
    kind = label.fault.kind
    within = [f for f in findings if f.at_ms <= label.until_ms + _GRACE_MS]
    outcome = Outcome(label)
    outcome.told = [f"{f.kind}@{(f.at_ms - label.fault.at_ms) / HOUR_MS:.1f}h" for f in findings]
    right = RIGHT[kind]
    if kind in _WHOLE:
        within = [f for f in within if f.tank == ROOM or f.kind in right]
    if within:
        outcome.found = True
        outcome.right = any(f.kind in right for f in within)
        named = [f for f in within if f.kind not in WINDOW]
        outcome.first_right = bool(named) and named[0].kind in right
        outcome.late_ms = within[0].at_ms - label.fault.at_ms
    left = [
        e.from_ms for e in excursions
        if e.tank in label.tanks and label.fault.at_ms < e.from_ms <= label.until_ms + HOUR_MS
    ]  # fmt: skip
    if left and kind not in OF_THE_PROBE:  # a lying probe moves no water
        first = min((f.at_ms for f in within), default=label.until_ms + _GRACE_MS)
        outcome.lead_ms = min(left) - first
    return outcome


def _forecasts(
    findings: Sequence[Finding], labels: Sequence[Label], excursions: Sequence[Excursion]
) -> list[Foretold]:
    seen = []
    for finding in findings:
        forecast = finding.forecast
        if forecast is None or not finding.present or finding.tank == ROOM:
            continue
        likely = forecast.likely_ms
        if likely is None or likely <= finding.at_ms:
            continue
        label = next((x for x in labels if finding.tank in x.tanks
                      and x.fault.at_ms <= finding.at_ms <= x.until_ms), None)  # fmt: skip
        if label is None:
            continue
        exits = [e.from_ms for e in excursions if e.tank == finding.tank
                 and e.quantity is (finding.quantity or Quantity.TEMPERATURE)
                 and finding.at_ms - 5 * MINUTE_MS <= e.from_ms <= label.until_ms]  # fmt: skip
        early = finding.at_ms if forecast.earliest_ms is None else forecast.earliest_ms
        late = 1 << 62 if forecast.latest_ms is None else forecast.latest_ms
        if exits:
            inside = early <= exits[0] <= late
        elif late < label.until_ms:
            inside = False
        else:
            continue  # mended before it could be known
        ahead = (likely - finding.at_ms) / HOUR_MS
        width = (min(late, likely + 100 * HOUR_MS) - early) / 2 / (likely - finding.at_ms)
        seen.append(Foretold(bool(exits), inside, ahead, width, str(finding.kind)))
    return seen


def report(scores: Sequence[Score], *, verbose: bool) -> str:
    """The figures of issue 3, over all rooms."""
    outcomes = [o for s in scores for o in s.outcomes]
    lines = ["kind                 n  found  right  first  median hours to first alarm"]
    by_kind: dict[str, list[Outcome]] = defaultdict(list)
    for outcome in outcomes:
        fault = outcome.label.fault
        name = f"{fault.kind}{'/' + fault.quantity if fault.quantity else ''}"
        by_kind[name].append(outcome)
    for name, several in sorted(by_kind.items()):
        late = [o.late_ms / HOUR_MS for o in several if o.found]
        lines.append(
            f"{name:26} {len(several):3} {_share(several, 'found'):6} {_share(several, 'right'):6} "
            f"{_share(several, 'first_right'):6} {median(late) if late else float('nan'):8.2f}"
        )
    lines += _figures(scores, outcomes)
    if verbose:
        lines += _details(scores)
    return "\n".join(lines)


def _figures(scores: Sequence[Score], outcomes: Sequence[Outcome]) -> list[str]:
    """The figures of the whole, one sentence each."""
    days = sum(s.days for s in scores)
    left = [o for o in outcomes if o.lead_ms is not None]
    led = [o for o in left if o.label.fault.kind not in POURED]
    leads = [(o.lead_ms or 0) / HOUR_MS for o in led]
    poured = [o for o in outcomes if o.label.fault.kind in POURED and o.found]
    within = [o.late_ms / MINUTE_MS for o in poured]
    false = sum(len(s.false) for s in scores)
    rate = false / (days * HEALTHY / 30)
    lines = [
        f"faults {len(outcomes)}, found {_share(outcomes, 'found')}, by the right kind",
        f"  {_share(outcomes, 'right')}, and that first {_share(outcomes, 'first_right')}",
        f"exits that could be led {len(led)}, median lead {median(leads or [0]):.2f} h, warned",
        f"  before {sum(lead > 0 for lead in leads) / max(len(leads), 1):.1%}",
        f"poured in (cannot be led) {len(poured)}, found after {median(within or [0]):.0f} min,",
        f"  at most {max(within, default=0):.0f}",
        f"false alarms {false}, {rate:.3f} per healthy tank and 30 days; of the room",
        f"  {sum(len(s.false_room) for s in scores)}; unexplained in faulty tanks",
        f"  {sum(len(s.extra) for s in scores)}",
        f"alarms for the phone a day {sum(s.phone for s in scores) / days:.2f}",
        *_rung(scores, days, len(outcomes)),
    ]
    lines += _foretold([f for s in scores for f in s.forecasts])
    return lines


def _foretold(forecasts: Sequence[Foretold]) -> list[str]:
    """How honest the forecasts were; those of exits that never came are counted aloud, not in."""
    came = [f for f in forecasts if f.came]
    if not came:
        return []
    inside = sum(f.inside for f in came)
    two = [f.width for f in forecasts if 1.5 <= f.ahead_h <= 2.5]
    lines = [
        f"forecasts {len(forecasts)}; the exit came for {len(came)}, inside the range",
        f"  {inside / len(came):.1%}; never for {len(forecasts) - len(came)}, and with these",
        f"  counted as outside {inside / len(forecasts):.1%}; two hours ahead half the range is",
        f"  {median(two or [0]):.0%} of the time left ({len(two)})",
    ]
    for kind in sorted({f.kind for f in forecasts}):
        of_kind = [f for f in forecasts if f.kind == kind]
        true = [f.inside for f in of_kind if f.came]
        lines.append(
            f"  {kind}: {sum(true) / max(len(true), 1):.0%} of {len(true)}, "
            f"never came {len(of_kind) - len(true)}"
        )
    return lines


def _rung(scores: Sequence[Score], days: float, faults: int) -> list[str]:
    """What the keeper's phone got, and the same for a month with fifty faults.

    The daily message is apart: one a day whatever happens, for its absence is the sign.
    """
    total: Counter[str] = sum((s.rung.by_about for s in scores), Counter())
    daily = total[About.WELL] + total[About.DIGEST]
    calls = (total.total() - daily) / days
    lines = [
        f"notices on the keeper's phone {calls:.2f} a day, {calls * 7:.1f} a week, and the daily",
        f"  message ({', '.join(f'{about} {n}' for about, n in total.most_common())})",
    ]
    a_month = faults / days * 30
    if a_month:
        lines.append(
            f"  with {a_month:.0f} faults a room and 30 days; for fifty: "
            f"{calls * 50 / a_month:.2f} a day, of them new "
            f"{total[About.RAISED] / days * 50 / a_month:.2f}"
        )
    return lines


def _details(scores: Sequence[Score]) -> list[str]:
    lines = []
    for s in scores:
        for o in s.outcomes:
            fault = o.label.fault
            late = o.lead_ms is not None and o.lead_ms <= 0
            if fault.kind in POURED:
                late = o.late_ms > _POURED_MS
            if o.right and not late:
                continue
            lead = "" if o.lead_ms is None else f" lead {o.lead_ms / HOUR_MS:.2f}"
            word = "LATE" if o.right else "WRONG" if o.found else "MISS"
            where = f"{fault.kind} {fault.quantity or ''} {fault.tank} {fault.at_ms}"
            lines.append(f"  {word} {where}{lead}: {o.told}")
        for name, several in (("FALSE", s.false), ("ROOM", s.false_room), ("EXTRA", s.extra)):
            lines += [f"  {name} {f.tank} {f.kind} {f.at_ms} {f.message}" for f in several]
    return lines


def _share(outcomes: Sequence[Outcome], what: str) -> str:
    return f"{sum(getattr(o, what) for o in outcomes) / max(len(outcomes), 1):.0%}"
