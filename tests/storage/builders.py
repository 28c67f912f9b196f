"""What the storage tests build: only what matters is named."""

from roewatch.alarms.alarm import Alarm, State
from roewatch.alarms.notice import About, Notice
from roewatch.room.kind import Kind, Priority
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged
from roewatch.room.tank import Calibration, Probe

NOON = 1_767_268_800_000  # 2026-01-01T12:00:00Z


def said(
    raw: float, *, s: float = 0, probe: str = "a1-temp", flag: Flag = Flag.GOOD, at_ms: int = NOON
) -> Flagged:
    """A reading `s` seconds after noon."""
    return Flagged(probe, at_ms + round(s * 1000), raw, raw, flag)


def probe(
    name: str = "a1-temp",
    *,
    quantity: Quantity = Quantity.TEMPERATURE,
    calibrations: tuple[Calibration, ...] = (),
) -> Probe:
    return Probe(id=name, tank="A1", quantity=quantity, every_ms=5000, calibrations=calibrations)


def alarm(
    number: int, *, state: State = State.UNACKNOWLEDGED, tank: str = "A1", raised_ms: int = NOON
) -> Alarm:
    return Alarm(
        number=number, key=f"{tank}/below-window/temperature", episode=number, tank=tank,
        kind=Kind.BELOW_WINDOW, quantity=Quantity.TEMPERATURE, probe=None, priority=Priority.HIGH,
        state=state, present=state is not State.NORMAL, raised_ms=raised_ms, since_ms=raised_ms,
        changed_ms=raised_ms,
    )  # fmt: skip


def notice(
    name: str,
    *,
    priority: Priority = Priority.HIGH,
    due_ms: int = NOON,
    alarms: tuple[int, ...] = (),
) -> Notice:
    return Notice(
        id=name, contact="Keeper", way="phone", about=About.RAISED, priority=priority,
        alarms=alarms, title="A1 temperature low", body="24.1 °C", made_ms=NOON, due_ms=due_ms,
    )  # fmt: skip
