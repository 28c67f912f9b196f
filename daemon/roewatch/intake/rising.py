"""Rising: which of many thermometers a hand is warming just now."""

from collections.abc import Hashable, Mapping, Sequence
from typing import TypeVar

LEAST_CELSIUS = 1.0
"""A hand warms a probe in water by degrees within a minute; a heater takes half an hour for one.
Our own figure, and so is the next."""
TIMES_THE_NEXT = 3.0

Key = TypeVar("Key", bound=Hashable)


def rise_of(values: Sequence[float]) -> float:
    """How far the newest value lies above the lowest one heard, °C; 0 without two values."""
    return max(values[-1] - min(values), 0.0) if len(values) > 1 else 0.0


def warmed(heard: Mapping[Key, Sequence[float]]) -> Key | None:
    """The one that rises, None while it cannot be told.

    heard: by probe, its values in °C in the order they came.
    """
    rises = sorted(((rise_of(values), key) for key, values in heard.items()), key=lambda r: -r[0])
    if not rises or rises[0][0] < LEAST_CELSIUS:
        return None
    if len(rises) > 1 and rises[0][0] < TIMES_THE_NEXT * rises[1][0]:
        return None
    return rises[0][1]
