"""Rooms and readings for the judge's tests: builders that name only what matters."""

from collections.abc import Iterable, Sequence

from roewatch.intake.decode import Ahead
from roewatch.intake.own_time import AHEAD_MS
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.judging.limits import Limits
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import HOUR_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flagged, Reading
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM, Probe, Room, Tank
from roewatch.room.window import RateLimit, Window
from roewatch_sim.room import SimRoom

START = at_ms_of_iso("2026-03-01T00:00:00Z")
WARM = Window(low=25.0, high=28.0)


def tank(
    tank_id: str = "A1",
    *,
    celsius: Window | None = WARM,
    ph: Window | None = None,
    rates: Sequence[RateLimit] = (),
    stage: Stage = Stage.HOLDING,
) -> Tank:
    windows = {}
    if celsius is not None:
        windows[Quantity.TEMPERATURE] = celsius
    if ph is not None:
        windows[Quantity.PH] = ph
    return Tank(
        id=tank_id,
        litres=30,
        heater_watts=50,
        stage=stage,
        windows=windows,
        rates={Quantity.TEMPERATURE: tuple(rates)},
    )


def probe(
    probe_id: str = "A1-t", tank_id: str = "A1", quantity: Quantity = Quantity.TEMPERATURE,
    every_ms: int = MINUTE_MS,
) -> Probe:  # fmt: skip
    return Probe(id=probe_id, tank=tank_id, quantity=quantity, every_ms=every_ms)


def room(tanks: Sequence[Tank], probes: Sequence[Probe]) -> Room:
    return Room(id="boathouse", name="The Boathouse", zone="UTC", tanks=tuple(tanks),
                probes=tuple(probes))  # fmt: skip


def one_tank(limits: Limits | None = None) -> Judge:
    """A judge of tank A1 with one thermometer `A1-t`, listening from START."""
    return Judge(room([tank()], [probe()]), limits, start_ms=START)


def minutes(values: Iterable[float], *, first: int = 0, of: str = "A1-t") -> list[Reading]:
    """One reading a minute, ten seconds past, from minute `first` after START."""
    return [
        Reading(of, START + (first + n) * MINUTE_MS + 10_000, value)
        for n, value in enumerate(values)
    ]


def fold(judge: Judge, readings: Iterable[Reading]) -> list[Finding]:
    """What the judge finds on the way."""
    return [finding for reading in readings for finding in judge.take(reading).findings]


def flags(judge: Judge, readings: Iterable[Reading]) -> list[Flagged]:
    """Each reading's flag, as finally revised."""
    flagged: list[Flagged] = []
    for reading in readings:
        judged = judge.take(reading)
        if judged.revised is not None:
            flagged[-1] = judged.revised
        flagged.append(judged.flagged)
    return flagged


def room_of(sim: SimRoom) -> Room:
    """The settings that would describe a simulated room."""
    tanks = [
        Tank(
            id=t.id,
            litres=t.spec.heat.litres,
            heater_watts=t.spec.heat.heater_watts,
            stage=t.spec.stage,
            windows=t.spec.windows,
        )
        for t in sim.tanks.values()
    ]
    probes = [
        probe(f"{t.id}-{p.quantity}", t.id, p.quantity, sim.every_ms)
        for t in sim.tanks.values()
        for p in t.probes
    ]
    return room(tanks, [*probes, probe("room-temperature", ROOM, every_ms=sim.every_ms)])


Event = Reading | JournalEntry | Ahead


def events_of(sim: SimRoom, *, hours: float) -> list[Event]:
    """Readings and journal of the room's next hours, in the order the daemon meets them."""
    events: list[Event] = []
    entered = len(sim.journal)
    for sample in sim.run(sim.clock_ms + int(hours * HOUR_MS)):
        while entered < len(sim.journal):
            events.append(sim.journal[entered])
            entered += 1
        name, at_ms = f"{sample.tank}-{sample.quantity}", sample.stamp_ms
        if at_ms > sample.at_ms + AHEAD_MS:  # as the intake has it: kept when it came
            events.append(Ahead(name, sample.at_ms, at_ms - sample.at_ms))
            at_ms = sample.at_ms
        events.append(Reading(name, at_ms, sample.value))
    return events


def judged(judge: Judge, events: Iterable[Event]) -> list[Finding]:
    """All findings, those the journal explains included."""
    found: list[Finding] = []
    for event in events:
        if isinstance(event, JournalEntry):
            found += judge.enter(event)
        elif isinstance(event, Ahead):
            judge.note_ahead(*event)
        else:
            found += judge.take(event).findings
    return found


def kinds(findings: Iterable[Finding]) -> list[str]:
    """`A1 heater-dead` for each raise, in order, without those explained or told again."""
    seen: list[str] = []
    for finding in findings:
        word = f"{finding.tank} {finding.kind}"
        if finding.present and not finding.explained and word not in seen:
            seen.append(word)
    return seen
