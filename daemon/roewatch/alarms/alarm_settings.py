"""How alarms behave in time: when they ask again, how long they settle, how long a shelf lasts."""

from collections.abc import Mapping
from dataclasses import dataclass

from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSettings:
    """realarm_ms: an acknowledged alarm that still holds asks again after this, by priority; one
    of a priority not named does not, and the daily message lists it until it is over. Half of it
    where the forecast leaves the window sooner.

    settle_ms: how long after the end of a suppressing alarm its children, new ones as well, stay
    quiet, so that those which end with it are never told. longest_shelf_ms: the bound of a shelf.
    """

    realarm_ms: Mapping[Priority, int]
    settle_ms: int = 20 * MINUTE_MS  # in simulated rooms the heaters all work hard for so long
    longest_shelf_ms: int = DAY_MS


STANDARD = AlarmSettings(realarm_ms={Priority.HIGH: 4 * HOUR_MS})
