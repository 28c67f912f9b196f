"""Collecting: how often Python looks for values that hold each other in a ring.

A stream of readings makes many small values that live for a while, none of them in a ring; yet
Python 3.11 looks after every 700 of them. Looking seldom costs a few megabytes and saves about a
fifth of the processor time of judging (`tests/bench/judging.py`).
"""

import gc

_NEW_VALUES = 50_000
_ROUNDS = 20


def collect_seldom() -> None:
    """From now on in this process; what is loaded already is looked at no more."""
    gc.freeze()
    gc.set_threshold(_NEW_VALUES, _ROUNDS, _ROUNDS)
