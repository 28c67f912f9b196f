"""An alarm line: one alarm change as scripts read it, the contract of `roewatch replay`."""

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.rationale import exit_ms
from roewatch.room.moment import iso


def alarm_line(change: AlarmChange) -> dict[str, str | float | None]:
    """The change as a JSON object, with exactly the contract's keys."""
    alarm = change.alarm
    leaves_ms = exit_ms(alarm.forecast)
    return {
        "time": iso(change.at_ms),
        "tank": alarm.tank,
        "alarm": alarm.kind.value,
        "quantity": alarm.quantity.value if alarm.quantity else None,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "value": alarm.value,
        "message": alarm.message,
        "forecast_exit": None if leaves_ms is None else iso(leaves_ms),
    }
