"""Ending: a bench that is told to stop takes the servers it started down with it."""

import signal
import sys
from types import FrameType

_ASKING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def in_order() -> None:
    """From now on a signal to end is an exception, so that every `with` and `finally` runs.

    A shell that starts a bench in the background has it ignore Ctrl-C; here it does not.
    """
    for asking in _ASKING:
        signal.signal(asking, _end)


def _end(number: int, _: FrameType | None) -> None:
    for asking in _ASKING:  # a second one would cut the tidying short
        signal.signal(asking, signal.SIG_IGN)
    sys.exit(128 + number)
