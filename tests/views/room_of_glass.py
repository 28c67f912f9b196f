"""A room of glass: the invented room in memory, a week of it, behind the pages' own ports."""

import math
import random
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.breeding.plan import Plan, Step
from roewatch.judging.finding import Forecast
from roewatch.judging.judge import Learned
from roewatch.room.journal import Amended, Amendment, Deed, JournalEntry
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.series import Series
from roewatch.room.stage import Stage
from roewatch.room.tank import Place, Probe, Room, Tank
from roewatch.room.window import Window
from roewatch.views.ports import LinkView, RefusedView
from roewatch.views.week import Past

NOW = at_ms_of_iso("2026-11-12T14:31:20+02:00")
EVERY = 60_000

_WINDOWS: dict[Stage, dict[Quantity, Window]] = {
    Stage.HOLDING: {
        Quantity.TEMPERATURE: Window(low=22, high=28),
        Quantity.PH: Window(low=5, high=7),
    },
    Stage.CONDITIONING: {
        Quantity.TEMPERATURE: Window(low=24, high=27),
        Quantity.PH: Window(low=5.2, high=6.8),
    },
    Stage.SPAWNING: {
        Quantity.TEMPERATURE: Window(low=25.0, high=27.5),
        Quantity.PH: Window(low=4.8, high=5.5),
    },
    Stage.GROWING: {
        Quantity.TEMPERATURE: Window(low=23, high=27),
        Quantity.PH: Window(low=5.5, high=7.2),
    },
}  # fmt: skip


def named_of(tank_id: str) -> Stage:
    """What the invented settings name, before the journal's first word."""
    return Stage.HOLDING


SPECIES = (
    "boraras-brigittae", "nannostomus-marginatus", "danio-margaritatus",
    "hyphessobrycon-pulchripinnis", "apistogramma-cacatuoides", "corydoras-paleatus",
    "trichopsis-pumila",
)  # fmt: skip


def windows_of(tank: Tank, stage: Stage) -> Mapping[Quantity, Window]:
    """The invented windows of a stage; a tank without fish has none."""
    return _WINDOWS.get(stage, _WINDOWS[Stage.HOLDING]) if tank.species else {}


PAST = Past(windows_of=windows_of, named_of=named_of)


def tank(
    name: str, *, rack: str, shelf: int, place: int, stage: Stage = Stage.HOLDING, species: str
) -> Tank:
    """One tank of 20 litres, its windows those of its stage."""
    bare = Tank(
        id=name,
        litres=20,
        heater_watts=25,
        place=Place(rack=rack, shelf=shelf, place=place),
        stage=stage,
        species=species,
    )
    return replace(bare, windows=windows_of(bare, stage))


def boathouse() -> Room:
    """Twelve tanks on two racks, a thermometer and a pH probe in each."""
    stages = [Stage.CONDITIONING, Stage.GROWING, Stage.HOLDING, Stage.SPAWNING]
    tanks = [
        tank(
            f"{rack}{n}",
            rack=rack,
            shelf=(n + 2) // 3,
            place=(n - 1) % 3 + 1,
            stage=stages[(n + (rack == "B")) % 4] if n > 1 else Stage.CONDITIONING,
            species="" if f"{rack}{n}" == "B6" else SPECIES[(n * 3 + (rack == "B")) % 7],
        )
        for rack in "AB"
        for n in range(1, 7)
    ]
    return room_of(tanks)


def hall(count: int) -> Room:
    """A room of so many tanks, in racks of four shelves by five."""
    tanks = []
    for n in range(count):
        rack, spot = divmod(n, 20)
        name = chr(ord("A") + rack) if rack < 26 else f"R{rack}"
        shelf, place = divmod(spot, 5)
        tanks.append(
            tank(
                f"{name}{spot + 1}",
                rack=name,
                shelf=shelf + 1,
                place=place + 1,
                stage=Stage.GROWING,
                species=SPECIES[n % 7],
            )
        )
    return room_of(tanks)


def room_of(tanks: Sequence[Tank]) -> Room:
    """A room of these tanks, each with its thermometer and its pH probe."""
    probes = [
        Probe(id=f"{t.id.lower()}-{short}", tank=t.id, quantity=quantity, every_ms=EVERY)
        for t in tanks
        for short, quantity in (("temp", Quantity.TEMPERATURE), ("ph", Quantity.PH))
    ]
    return Room(
        id="boathouse",
        name="The Boathouse",
        zone="Europe/Tallinn",
        tanks=tuple(tanks),
        probes=tuple(probes),
    )


def _calm(probe: Probe, at_ms: int) -> float:
    """A value well inside a growing tank's window, with a day's swing."""
    day = math.sin(at_ms / DAY_MS * 2 * math.pi)
    if probe.quantity is Quantity.PH:
        return 6.2 + 0.06 * day
    return 25.6 + 0.3 * day


def _conditioning(at_ms: int) -> float:
    """A1: pH let down from 6.5 over a week, overshooting one afternoon."""
    share = (at_ms - (NOW - 7 * DAY_MS)) / (7 * DAY_MS)
    overshoot = max(0.0, 1 - abs(at_ms - (NOW - 30 * HOUR_MS)) / (5 * HOUR_MS))
    swing = 0.05 * math.sin(at_ms / DAY_MS * 2 * math.pi)
    return 6.55 - 0.95 * share - 0.75 * overshoot + swing


Curve = Callable[[Probe, int], float | None]


def week(probe: Probe, at_ms: int) -> float | None:
    """What each probe of the invented room reads at a moment; None when it says nothing."""
    if probe.id == "a1-ph":
        lost = NOW - 3 * DAY_MS
        return None if lost < at_ms < lost + 5 * HOUR_MS else _conditioning(at_ms)
    if probe.id == "b2-ph":
        return 5.2 + max(0.0, (at_ms - (NOW - 70 * MINUTE_MS)) / HOUR_MS) * 0.6
    if probe.id == "a4-temp":
        return 25.4 - max(0.0, (at_ms - (NOW - 3 * HOUR_MS)) / HOUR_MS) * 0.42
    if probe.tank == "B5" and at_ms > NOW - 12 * MINUTE_MS:
        return None
    if probe.id == "a6-temp" and NOW - 50 * HOUR_MS < at_ms < NOW - 49 * HOUR_MS:
        return 85.0
    if probe.tank in {"A3", "B3", "B4", "A2"} and probe.quantity is Quantity.PH:
        return {"A3": 5.21, "B3": 6.4, "B4": 6.1, "A2": 6.6}[probe.tank]
    return _calm(probe, at_ms)


@dataclass
class GlassRecords:
    """Records made up on the spot from a curve, with alarms and journal in lists."""

    room: Room
    curve: Curve = week
    now_ms: int = NOW
    kept_alarms: list[Alarm] = field(default_factory=list)
    kept_changes: list[AlarmChange] = field(default_factory=list)
    entries: list[JournalEntry] = field(default_factory=list)
    gone: set[int] = field(default_factory=set)
    kept_amended: list[Amended] = field(default_factory=list)
    kept_plans: list[Plan] = field(default_factory=list)
    sent: dict[int, list[tuple[Notice, Receipt | None]]] = field(default_factory=dict)

    def _reading(self, probe: Probe, at_ms: int) -> Flagged | None:
        value = self.curve(probe, at_ms)
        if value is None:
            return None
        noise = random.Random(f"{probe.id}{at_ms}").gauss(0, 0.012)
        flag = Flag.BAD if value == 85.0 else Flag.GOOD
        return Flagged(probe.id, at_ms, value, value if flag is Flag.BAD else value + noise, flag)

    def latest(self) -> dict[str, Flagged]:
        found = {}
        for probe in self.room.probes:
            for back in range(1, 60):
                reading = self._reading(probe, self.now_ms - back * EVERY // 2)
                if reading:
                    found[probe.id] = reading
                    break
        return found

    def series(self, probe: Probe, from_ms: int, to_ms: int, columns: int = 0) -> Series:
        step = EVERY if to_ms - from_ms <= 2 * DAY_MS else 5 * MINUTE_MS
        readings = [
            reading
            for at_ms in range(from_ms, min(to_ms, self.now_ms), step)
            if (reading := self._reading(probe, at_ms))
        ]
        return Series(
            probe=probe.id,
            tank=probe.tank,
            quantity=probe.quantity,
            every_ms=step,
            from_ms=from_ms,
            to_ms=to_ms,
            at_ms=[r.at_ms for r in readings],
            value=[r.value for r in readings],
            flag=[r.flag for r in readings],
            thinned=False,
        )

    def alarms(
        self,
        *,
        open_only: bool = False,
        tank: str | None = None,
        from_ms: int | None = None,
        to_ms: int | None = None,
        limit: int = 500,
    ) -> list[Alarm]:
        found = [
            alarm
            for alarm in self.kept_alarms
            if (not open_only or alarm.state is not State.NORMAL)
            and tank in {None, alarm.tank}
            and (from_ms is None or alarm.present or (alarm.returned_ms or 0) >= from_ms)
            and (to_ms is None or alarm.raised_ms < to_ms)
        ]
        return sorted(found, key=lambda a: a.raised_ms, reverse=True)[:limit]

    def alarm(self, number: int) -> Alarm | None:
        return next((a for a in self.kept_alarms if a.number == number), None)

    def changes(self, number: int) -> list[AlarmChange]:
        return [c for c in self.kept_changes if c.alarm.number == number]

    def journal(self, tank: str | None, from_ms: int, to_ms: int) -> list[JournalEntry]:
        return [entry for _, entry in self.numbered_journal(tank, from_ms, to_ms)]

    def numbered_journal(
        self, tank: str | None, from_ms: int, to_ms: int
    ) -> list[tuple[int, JournalEntry]]:
        found = [
            (n, e)
            for n, e in enumerate(self.entries, 1)
            if n not in self.gone and tank in {None, e.tank} and from_ms <= e.at_ms < to_ms
        ]
        return sorted(found, key=lambda one: one[1].at_ms)

    def entry(self, number: int) -> JournalEntry | None:
        there = 0 < number <= len(self.entries) and number not in self.gone
        return self.entries[number - 1] if there else None

    def amended(self, tank: str | None, from_ms: int, to_ms: int) -> list[Amended]:
        return [
            a
            for a in self.kept_amended
            if tank in {None, a.before.tank} and from_ms <= a.before.at_ms < to_ms
        ]

    def plans(self, tank: str) -> list[Plan]:
        return [plan for plan in self.kept_plans if plan.tank == tank]

    def told(self, number: int) -> list[tuple[Notice, Receipt | None]]:
        return self.sent.get(number, [])

    def replace_alarm(self, number: int, **new: object) -> None:
        """Put an alarm into another state."""
        self.kept_alarms = [
            replace(a, **new) if a.number == number else a  # type: ignore[arg-type]
            for a in self.kept_alarms
        ]


STEADY = Learned(
    "A1", 14, switches_on=25.6, switches_off=26.3, cools_per_h=0.86, warms_per_h=1.4, duty=0.38,
    period_ms=80 * MINUTE_MS, time_constant_h=6.4, room_c=20.4,
)  # fmt: skip
"""A heater that was watched for a day."""


@dataclass
class GlassLive:
    """A daemon that stands still until told otherwise."""

    kept_room: Room
    at_ms: int = NOW
    kept_link: LinkView = field(
        default_factory=lambda: LinkView(word="live", since_ms=NOW - DAY_MS)
    )
    not_read: list[RefusedView] = field(default_factory=list)
    heating: dict[str, Learned] = field(default_factory=lambda: {"A1": STEADY})
    counter: int = 1
    changed: threading.Condition = field(default_factory=threading.Condition)

    def room(self) -> Room:
        return self.kept_room

    def now_ms(self) -> int:
        return self.at_ms

    def link(self) -> LinkView:
        return self.kept_link

    def refused(self) -> list[RefusedView]:
        return self.not_read

    def learned(self, tank: str) -> Learned | None:
        return self.heating.get(tank)

    def wait_change(self, last: int, timeout_s: float) -> int:
        with self.changed:
            self.changed.wait_for(lambda: self.counter != last, timeout_s)
            return self.counter

    def bump(self) -> None:
        """Say that something changed."""
        with self.changed:
            self.counter += 1
            self.changed.notify_all()


class NotThatError(ValueError):
    """A deed that cannot be done; the text is for the person."""


@dataclass
class GlassDeeds:
    """Deeds done to the lists of `GlassRecords`."""

    records: GlassRecords
    done: list[tuple[object, ...]] = field(default_factory=list)

    def acknowledge(self, number: int, by: str) -> None:
        alarm = self.records.alarm(number)
        if alarm is None or alarm.state not in {State.UNACKNOWLEDGED, State.RETURNED}:
            raise NotThatError(f"alarm {number} is not waiting for anybody; it may be over")
        state = State.ACKNOWLEDGED if alarm.present else State.NORMAL
        self.records.replace_alarm(
            number, state=state, acknowledged_by=by, acknowledged_ms=self.records.now_ms
        )
        self.done.append(("acknowledge", number, by))

    def shelve(self, number: int, until_ms: int, why: str, by: str) -> None:
        if self.records.alarm(number) is None:
            raise NotThatError(f"no alarm {number}")
        self.records.replace_alarm(
            number, state=State.SHELVED, shelved_until_ms=until_ms, shelved_why=why
        )
        self.done.append(("shelve", number, until_ms, why, by))

    def unshelve(self, number: int, by: str) -> None:
        self.records.replace_alarm(number, state=State.UNACKNOWLEDGED, shelved_until_ms=None)
        self.done.append(("unshelve", number, by))

    def out_of_service(self, number: int, why: str, by: str) -> None:
        self.records.replace_alarm(number, state=State.OUT_OF_SERVICE, shelved_why=why)
        self.done.append(("out-of-service", number, why, by))

    def return_to_service(self, number: int, by: str) -> None:
        self.records.replace_alarm(number, state=State.UNACKNOWLEDGED)
        self.done.append(("return", number, by))

    def reset(self, number: int, by: str) -> None:
        alarm = self.records.alarm(number)
        if alarm is None or not alarm.latched:
            raise NotThatError(f"alarm {number} is not latched: acknowledge it instead")
        self.records.replace_alarm(number, state=State.NORMAL)
        self.done.append(("reset", number, by))

    def enter(self, entry: JournalEntry) -> None:
        self.records.entries.append(entry)
        self.done.append(("enter", entry))

    def plan(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        self.records.kept_plans += plans
        self.records.entries.append(entry)
        self.done.append(("plan", tuple(plans)))

    def give_up(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        self.records.kept_plans = [p for p in self.records.kept_plans if p not in plans]
        self.records.entries.append(entry)
        self.done.append(("give-up", tuple(plans)))

    def amend(self, amendment: Amendment) -> None:
        before = self.records.entry(amendment.number)
        if before is None:
            raise NotThatError(f"there is no record {amendment.number}")
        self.records.kept_amended.append(
            Amended(
                number=amendment.number,
                before=before,
                at_ms=amendment.at_ms,
                by=amendment.by,
                withdrawn=amendment.entry is None,
            )
        )
        if amendment.entry is None:
            self.records.gone.add(amendment.number)
        else:
            self.records.entries[amendment.number - 1] = amendment.entry
        self.done.append(("amend", amendment))


def alarm(number: int, tank_id: str, kind: Kind, **more: object) -> Alarm:
    """An alarm that was raised an hour ago and that nobody has seen; name only what matters."""
    quantity = more.pop("quantity", None)
    base: dict[str, object] = {
        "number": number,
        "key": f"{tank_id}/{kind.value}",
        "episode": 1,
        "tank": tank_id,
        "kind": kind,
        "quantity": quantity,
        "probe": None,
        "priority": Priority.HIGH,
        "state": State.UNACKNOWLEDGED,
        "present": True,
        "raised_ms": NOW - HOUR_MS,
        "since_ms": NOW - 65 * MINUTE_MS,
        "changed_ms": NOW - HOUR_MS,
    }
    return Alarm(**(base | more))  # type: ignore[arg-type]


def _receipts(number: int) -> list[tuple[Notice, Receipt | None]]:
    sent: list[tuple[Notice, Receipt | None]] = []
    for way, outcome, reason in (
        ("phone", Outcome.TAKEN, ""),
        ("mail", Outcome.TRY_LATER, "mail server answered 451: try again later"),
    ):
        notice = Notice(
            id=f"{number}-{way}",
            contact="Keeper",
            way=f"Keeper/{way}",
            about=About.RAISED,
            priority=Priority.HIGH,
            alarms=(number,),
            title="B2 pH above window",
            body="",
            made_ms=NOW - 24 * MINUTE_MS,
            due_ms=NOW - 24 * MINUTE_MS,
        )
        receipt = Receipt(
            notice=notice.id, at_ms=NOW - 23 * MINUTE_MS, outcome=outcome, reason=reason
        )
        sent.append((notice, receipt))
    return sent


def usual_alarms() -> list[Alarm]:
    """One of every state that a page must tell apart."""
    return [
        alarm(
            42,
            "B2",
            Kind.ABOVE_WINDOW,
            quantity=Quantity.PH,
            value=5.83,
            window="4.8-5.5",
            message="pH 5.83, window 4.8-5.5, rising 0.60 an hour since 13:21.",
            since_ms=NOW - 25 * MINUTE_MS,
            raised_ms=NOW - 24 * MINUTE_MS,
            told=True,
        ),
        alarm(
            41,
            "A4",
            Kind.HEATER_DEAD,
            quantity=Quantity.TEMPERATURE,
            value=24.1,
            window="22.0-28.0",
            message="24.1 °C, falling 0.42 °C an hour since 11:31; the heater gives nothing.",
            since_ms=NOW - 3 * HOUR_MS,
            state=State.ACKNOWLEDGED,
            acknowledged_ms=NOW - 2 * HOUR_MS,
            acknowledged_by="Keeper",
            forecast=Forecast(NOW + 4 * HOUR_MS, NOW + 5 * HOUR_MS, NOW + 7 * HOUR_MS),
        ),
        alarm(
            40,
            "A1",
            Kind.BELOW_WINDOW,
            quantity=Quantity.PH,
            value=5.05,
            window="5.2-6.8",
            message="pH was 5.05 at worst, window 5.2-6.8.",
            state=State.RETURNED,
            present=False,
            since_ms=NOW - 32 * HOUR_MS,
            raised_ms=NOW - 32 * HOUR_MS,
            returned_ms=NOW - 28 * HOUR_MS,
        ),
        alarm(
            39,
            "B5",
            Kind.TANK_SILENT,
            priority=Priority.MEDIUM,
            message="No reading from either probe for 12 min; the last was 25.8 °C.",
            since_ms=NOW - 12 * MINUTE_MS,
            state=State.ACKNOWLEDGED,
            acknowledged_by="Stand-in",
            acknowledged_ms=NOW - 6 * MINUTE_MS,
        ),
        alarm(
            38,
            "B3",
            Kind.PROBE_NOISY,
            quantity=Quantity.PH,
            priority=Priority.LOW,
            message="pH jumps by 0.2 between readings.",
            state=State.SHELVED,
            shelved_until_ms=NOW + 210 * MINUTE_MS,
            shelved_why="new substrate",
            since_ms=NOW - 5 * HOUR_MS,
        ),
    ]


def usual(room: Room | None = None) -> tuple[GlassRecords, GlassLive, GlassDeeds]:
    """The invented room on an ordinary afternoon with its troubles."""
    room = room or boathouse()
    records = GlassRecords(room)
    if room.tanks[0].id == "A1" and len(room.tanks) == 12:
        records.kept_alarms = usual_alarms()
        records.sent = {42: _receipts(42)}
        records.kept_plans = [
            Plan(
                tank="A1",
                quantity=Quantity.PH,
                steps=(
                    Step(at_ms=NOW - 6 * DAY_MS, value=6.4),
                    Step(at_ms=NOW - 2 * DAY_MS, value=5.9),
                    Step(at_ms=NOW + DAY_MS, value=5.4),
                ),
            )
        ]
        records.entries = [
            JournalEntry(
                at_ms=NOW - 4 * DAY_MS, tank="A1", deed=Deed.WATER_CHANGE, detail="20 %, rain"
            ),
            JournalEntry(
                at_ms=NOW - 95 * HOUR_MS, tank="A1", deed=Deed.NOTE, detail="alder cones in"
            ),
            JournalEntry(
                at_ms=NOW - 40 * HOUR_MS, tank="A1", deed=Deed.CALIBRATION, detail="4.01, 7.00"
            ),
            JournalEntry(at_ms=NOW - 5 * DAY_MS, tank="A1", deed=Deed.STAGE, detail="conditioning"),
        ]
    return records, GlassLive(room), GlassDeeds(records)


def well(room: Room | None = None) -> tuple[GlassRecords, GlassLive, GlassDeeds]:
    """A calm room: nothing out, nothing silent."""
    room = room or hall(12)
    records = GlassRecords(room, curve=_calm)
    return records, GlassLive(room), GlassDeeds(records)
