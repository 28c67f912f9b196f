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


def told_since(
    name: str, seed: int, kind: FaultKind, *, every_min: int = 1, hours: float = 1
) -> list[Finding]:
    """What is found in one tank without an electrode, from that moment on; over in an hour."""
    spec = boathouse(seed, START).tanks[name].spec
    only = replace(spec, quantities=(Quantity.TEMPERATURE,))
    sim = SimRoom([only], seed=seed, start_ms=START, every_ms=every_min * MINUTE_MS)
    sim.inject(SimFault(kind, name, POURED_MS, POURED_MS + HOUR_MS))
    found = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=30 + hours))
    return [f for f in found if f.at_ms > POURED_MS]


def first_told(name: str, seed: int, kind: FaultKind, *, every_min: int = 1) -> Finding:
    return next(f for f in told_since(name, seed, kind, every_min=every_min) if f.present)


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


# -- read every two or three minutes ------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_cold_water_is_told_by_a_thermometer_read_every_two_minutes(seed: int) -> None:
    told = first_told("A3", seed, FaultKind.BAD_WATER_CHANGE, every_min=2)
    assert told.kind is Kind.BAD_WATER_CHANGE
    assert told.at_ms - POURED_MS <= 12 * MINUTE_MS


@pytest.mark.parametrize("every_min", [2, 3])
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_probe_out_of_the_water_is_told_and_then_told_to_be_back(
    seed: int, every_min: int
) -> None:
    # while it is thought to be out, nothing else is said of its tank: it must end
    told = told_since("A3", seed, FaultKind.PROBE_DRY, every_min=every_min, hours=2)
    begun, over = (f for f in told if f.kind is Kind.PROBE_DRY)
    assert (begun.present, over.present) == (True, False)
    assert begun.at_ms - POURED_MS <= 20 * MINUTE_MS
    assert over.at_ms - (POURED_MS + HOUR_MS) <= 15 * MINUTE_MS
