"""A doubt: what the whole room does, that may explain a single tank."""

from enum import IntEnum


class Doubt(IntEnum):
    """Each tank for itself, all falling, the room without its heating, or without power."""

    NONE = 0
    FALLING = 1
    COLD = 2
    CUT = 3
