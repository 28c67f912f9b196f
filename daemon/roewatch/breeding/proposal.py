"""A proposal: the stage the clocks say a brood has come to. The keeper looks, and decides."""

from dataclasses import dataclass

from roewatch.breeding.brood import Brood
from roewatch.breeding.development import Leg
from roewatch.breeding.forecast import BroodForecast
from roewatch.room.local_time import local_clock
from roewatch.room.moment import DAY_MS
from roewatch.room.stage import Stage

CONDITIONED_MS = 14 * DAY_MS
"""Conditioning takes 2-3 weeks. Source: tetras, danios and barbs, club text, n.y."""

GROWN_MS = 30 * DAY_MS
"""Days of free-swimming after which the young are no longer judged as fry (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """The stage that is due, and why, for people."""

    stage: Stage
    why: str


def proposal(brood: Brood, forecast: BroodForecast, *, now_ms: int, zone: str) -> Due | None:
    """The next stage of `brood`, once its time has come; None before, and for an ended brood."""
    if not brood.open or brood.stage is None or brood.stage_ms is None:
        return None
    leg = {Stage.EGGS: Leg.HATCH, Stage.LARVAE: Leg.SWIMMING}.get(brood.stage)
    if leg is not None:
        expected = forecast.expected(leg)
        if expected is None or expected.happened or now_ms < expected.likely_ms:
            return None
        likely = local_clock(expected.likely_ms, zone, now_ms)
        if leg is Leg.HATCH:
            why = f"the eggs have likely hatched by {likely}; look, and record the hatch"
            return Due(stage=Stage.LARVAE, why=why)
        why = f"the young likely swim since {likely}; look, record it, and feed the same day"
        return Due(stage=Stage.FRY, why=why)
    since_ms = now_ms - brood.stage_ms
    if brood.stage is Stage.CONDITIONING and since_ms >= CONDITIONED_MS:
        return Due(stage=Stage.SPAWNING, why="two weeks of conditioning are over")
    if brood.stage is Stage.FRY and since_ms >= GROWN_MS:
        return Due(stage=Stage.GROWING, why="they have been swimming for 30 days")
    return None
