"""An alarm line: one alarm change as scripts read it, the contract of `roewatch replay`."""

from roewatch.alarms.alarm import Alarm, AlarmChange
from roewatch.alarms.rationale import exit_ms
from roewatch.room.moment import iso


def alarm_line(change: AlarmChange) -> dict[str, str | float | None]:
    """The change as a JSON object, with exactly the contract's keys."""
    return line_of(change.alarm, change.at_ms)


def line_of(alarm: Alarm, at_ms: int) -> dict[str, str | float | None]:
    """The alarm as it is, under the same keys; `at_ms` is what `time` says."""
    leaves_ms = exit_ms(alarm.forecast)
    return {
        "time": iso(at_ms),
        "tank": alarm.tank,
        "alarm": alarm.kind.value,
        "quantity": alarm.quantity.value if alarm.quantity else None,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "value": alarm.value,
        "message": alarm.message,
        "forecast_exit": None if leaves_ms is None else iso(leaves_ms),
    }
