"""Bad water poured in is found within minutes, also where no electrode feels it."""

from dataclasses import replace

import pytest
from tests.judging.rooms import START, events_of, judged, room_of

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.room import SimRoom

POURED_MS = START + 30 * HOUR_MS


def first_told(name: str, seed: int, kind: FaultKind) -> Finding:
    """The first of what is found in one tank without an electrode, from that moment on."""
    spec = boathouse(seed, START).tanks[name].spec
    only = replace(spec, quantities=(Quantity.TEMPERATURE,))
    sim = SimRoom([only], seed=seed, start_ms=START)
    sim.inject(SimFault(kind, name, POURED_MS, POURED_MS + HOUR_MS))
    found = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=31))
    return next(f for f in found if f.at_ms > POURED_MS and f.present)


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_cold_water_is_told_from_its_even_fall(seed: int) -> None:
    told = first_told("A3", seed, FaultKind.BAD_WATER_CHANGE)
    assert told.kind is Kind.BAD_WATER_CHANGE
    assert told.at_ms - POURED_MS <= 8 * MINUTE_MS


def test_noise_that_makes_its_first_minute_look_like_a_step_does_not_hide_it() -> None:
    told = first_told("A3", 7, FaultKind.BAD_WATER_CHANGE)
    assert told.kind is Kind.BAD_WATER_CHANGE
    assert told.at_ms - POURED_MS <= 10 * MINUTE_MS


@pytest.mark.parametrize("seed", range(1, 13))
def test_a_probe_out_of_the_water_is_not_taken_for_cold_water(seed: int) -> None:
    assert first_told("A3", seed, FaultKind.PROBE_DRY).kind is Kind.PROBE_DRY
