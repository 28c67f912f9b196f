"""Suppression by design: which alarms another one stands for, so that one cause is told once.

Only what the parent's own cause brings about is suppressed. A window exit never is: how far a
tank has got is what the keeper needs to know during a power cut, and a false alarm for the whole
room must not hide a tank that leaves its window for a reason of its own.
"""

from collections.abc import Mapping

from roewatch.alarms.alarm import Alarm, State
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM

_COLD = frozenset(
    {
        Kind.HEATER_DEAD,
        Kind.HEATER_WEAK,
        Kind.HEATER_WORKS_HARDER,
        Kind.FALLING_TOO_FAST,
        Kind.LID_OPEN,
    }
)
_SILENT = frozenset({Kind.TANK_SILENT, Kind.PROBE_SILENT, Kind.PROBE_PATCHY})

STANDS_FOR: Mapping[Kind, frozenset[Kind]] = {
    Kind.POWER_CUT: _COLD
    | _SILENT
    | {
        Kind.AERATION_STOPPED,
        Kind.ROOM_HEATING_LOST,
        Kind.ROOM_SILENT,
        Kind.CYCLE_TOO_WIDE,
    },
    Kind.ROOM_HEATING_LOST: _COLD,
    Kind.ROOM_SILENT: _SILENT,
    Kind.TANK_SILENT: frozenset({Kind.PROBE_SILENT, Kind.PROBE_PATCHY}),
}

_SETTLES_MS = {
    Kind.ROOM_HEATING_LOST: HOUR_MS,  # a room warms more slowly than its tanks
    Kind.CYCLE_TOO_WIDE: 4 * HOUR_MS,  # the way back is one wide swing; the next must be judged
}
LONGEST_SETTLE_MS = max(_SETTLES_MS.values())


def settles_ms(child: Kind, usual_ms: int) -> int:
    """How long after the end of what spoke for it a `child` may still be its doing."""
    return max(usual_ms, _SETTLES_MS.get(child, 0))


def stands_for(parent: Alarm, child: Alarm) -> bool:
    """Whether `parent`, while its condition holds, speaks for `child` as well.

    A parent out of service speaks for nobody: it is not trusted.
    """
    if not parent.present or parent.state is State.OUT_OF_SERVICE:
        return False
    if child.kind not in STANDS_FOR.get(parent.kind, frozenset()):
        return False
    if child.kind is Kind.FALLING_TOO_FAST and child.quantity is not Quantity.TEMPERATURE:
        return False
    if parent.tank != ROOM:
        return parent.tank == child.tank
    # a room alarm that names no tanks speaks for all of them
    return child.tank == ROOM or not parent.children or child.tank in parent.children
