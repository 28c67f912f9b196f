"""Collecting: how often Python looks for values that hold each other in a ring.

A stream of readings makes many small values that live for a while, none of them in a ring; yet
Python 3.11 looks after every 700 of them. Looking seldom costs a few megabytes and saves about a
fifth of the processor time of judging (`tests/bench/judging.py`).
"""

import gc

_NEW_VALUES = 50_000
_OF_A_PROBE = 100  # about what its lists grow by before they are cut
_ROUNDS = 20


def collect_seldom(probes: int) -> None:
    """From now on in this process; what is loaded already is looked at no more.

    probes: how many the room has. With thousands, what they keep would be looked at all the time.
    """
    gc.freeze()
    gc.set_threshold(_NEW_VALUES + _OF_A_PROBE * probes, _ROUNDS, _ROUNDS)
