"""The Boathouse as alarms see it, and builders that name only what a test is about."""

from dataclasses import replace

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.contact import Contact
from roewatch.judging.finding import Finding, Forecast
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import MINUTE_MS, SECOND_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM, Place, Probe, Room, Tank

NOON = at_ms_of_iso("2026-03-02T10:00:00Z")  # 12:00 in Tallinn, a Monday

TANKS = tuple(f"{rack}{place}" for rack in "AB" for place in range(1, 7))

KEEPER = Contact(name="Keeper", ways=("Keeper/phone", "Keeper/mail"))
STAND_IN = Contact(name="Stand-in", ways=("Stand-in/phone",))


def boathouse(stages: dict[str, Stage] | None = None, extra: int = 0) -> Room:
    """Twelve tanks on two racks, all holding but for `stages`; `extra` more on rack C."""
    names = [*TANKS, *(f"C{number}" for number in range(1, extra + 1))]
    tanks = tuple(
        Tank(
            id=name,
            litres=30,
            heater_watts=50,
            place=Place(rack=name[0], place=int(name[1:])),
            stage=(stages or {}).get(name, Stage.HOLDING),
        )
        for name in names
    )
    probes = tuple(
        Probe(id=f"{name}-t", tank=name, quantity=Quantity.TEMPERATURE, every_ms=5 * SECOND_MS)
        for name in names
    )
    return Room(
        id="boathouse", name="The Boathouse", zone="Europe/Tallinn", tanks=tanks, probes=probes
    )


def found(
    tank: str = "A1",
    kind: Kind = Kind.HEATER_DEAD,
    *,
    at_ms: int = NOON,
    present: bool = True,
    quantity: Quantity | None = Quantity.TEMPERATURE,
    probe: str | None = None,
    value: float | None = 23.1,
    forecast: Forecast | None = None,
    children: tuple[str, ...] = (),
    explained: bool = False,
) -> Finding:
    """A finding; by default the heater of A1 is dead at noon."""
    return Finding(
        tank=tank,
        kind=kind,
        quantity=quantity,
        probe=probe,
        at_ms=at_ms,
        since_ms=at_ms - 5 * MINUTE_MS,
        present=present,
        value=value,
        message=f"{value} °C and falling 0.6 °C/h",
        window="24.0-27.0",
        forecast=forecast,
        children=children,
        explained=explained,
    )


def over(tank: str = "A1", kind: Kind = Kind.HEATER_DEAD, *, at_ms: int = NOON) -> Finding:
    """The same condition has ended."""
    return found(tank, kind, at_ms=at_ms, present=False, value=25.2)


def power_cut(at_ms: int = NOON, *tanks: str, present: bool = True) -> Finding:
    """The power is off in these tanks, or in all."""
    return found(
        ROOM,
        Kind.POWER_CUT,
        at_ms=at_ms,
        quantity=None,
        value=None,
        children=tanks or TANKS,
        present=present,
    )


def alarm(**known: object) -> Alarm:
    """An open alarm of A1's heater, number 42."""
    plain = Alarm(
        number=42,
        key="A1/heater-dead/temperature",
        episode=1,
        tank="A1",
        kind=Kind.HEATER_DEAD,
        quantity=Quantity.TEMPERATURE,
        probe=None,
        priority=Priority.HIGH,
        state=State.UNACKNOWLEDGED,
        present=True,
        raised_ms=NOON,
        since_ms=NOON - 5 * MINUTE_MS,
        changed_ms=NOON,
        value=23.1,
        window="24.0-27.0",
        message="23.1 °C and falling 0.6 °C/h",
    )
    return replace(plain, **known)  # type: ignore[arg-type]  # tests name Alarm's own fields


def leaves_in(span_ms: int, at_ms: int = NOON) -> Forecast:
    """The value leaves its window in about `span_ms`."""
    return Forecast(at_ms + span_ms // 2, at_ms + span_ms, at_ms + 2 * span_ms)
