"""Failing heaters, in a simulated room: found before the water leaves its window."""

import pytest
from tests.judging.rooms import START, events_of, judged, kinds, room_of

from roewatch.judging.judge import Judge
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.room import SimRoom


def faulty(*faults: SimFault, seed: int = 3) -> SimRoom:
    sim = boathouse(seed, START)
    for fault in faults:
        sim.inject(fault)
    return sim


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (FaultKind.HEATER_DEAD, "heater-dead"),
        (FaultKind.HEATER_STUCK_ON, "heater-stuck-on"),
    ],
)
def test_a_failing_heater_is_found_before_the_window_is_left(fault: FaultKind, kind: str) -> None:
    sim = faulty(SimFault(fault, "A3", START + 2 * DAY_MS))
    judge = Judge(room_of(sim), start_ms=START)
    findings = judged(judge, events_of(sim, hours=60))
    found = next(f for f in findings if f.kind == kind)
    left = next(e for e in sim.excursions if e.tank == "A3")
    assert left.quantity is Quantity.TEMPERATURE
    assert left.from_ms - found.at_ms > HOUR_MS / 2
    assert found.forecast is not None
    assert found.forecast.earliest_ms is not None
    assert found.forecast.earliest_ms <= left.from_ms
    assert kinds(findings)[0] == f"A3 {kind}"


@pytest.mark.parametrize("every_min", [2, 5])
@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (FaultKind.HEATER_DEAD, "heater-dead"),
        (FaultKind.HEATER_STUCK_ON, "heater-stuck-on"),
    ],
)
def test_also_by_a_thermometer_that_speaks_seldom(
    fault: FaultKind, kind: str, every_min: int
) -> None:
    sim = faulty(SimFault(fault, "A3", START + 2 * DAY_MS))
    sim.every_ms = every_min * MINUTE_MS
    findings = judged(Judge(room_of(sim), start_ms=START), events_of(sim, hours=60))
    found = next(f for f in findings if f.kind == kind)
    left = next(e for e in sim.excursions if e.tank == "A3")
    assert left.from_ms - found.at_ms > HOUR_MS / 4


def test_a_power_cut_is_one_finding_with_a_rescue_order() -> None:
    until = START + 2 * DAY_MS + 5 * HOUR_MS
    sim = faulty(SimFault(FaultKind.POWER_CUT, "", START + 2 * DAY_MS, until))
    judge = Judge(room_of(sim), start_ms=START)
    findings = judged(judge, events_of(sim, hours=60))
    told = [f for f in findings if f.kind == "power-cut"]
    assert told[0].present
    assert not told[-1].present
    assert told[0].at_ms - START - 2 * DAY_MS < 90 * 60_000
    assert len(told[0].children) >= 10
    assert not [word for word in kinds(findings) if "heater" in word]


def test_healthy_days_are_quiet() -> None:
    sim = faulty(seed=1)
    judge = Judge(room_of(sim), start_ms=START)
    assert kinds(judged(judge, events_of(sim, hours=6 * 24))) == []
