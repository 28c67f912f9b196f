"""A stage: where in the work of breeding a tank stands."""

from enum import StrEnum


class Stage(StrEnum):
    """The stages, in the order of one brood."""

    HOLDING = "holding"
    CONDITIONING = "conditioning"
    SPAWNING = "spawning"
    EGGS = "eggs"
    LARVAE = "larvae"
    FRY = "fry"
    GROWING = "growing"


YOUNG = frozenset({Stage.EGGS, Stage.LARVAE, Stage.FRY})
"""Stages in which what lives in the tank cannot bear much and cannot be replaced."""
