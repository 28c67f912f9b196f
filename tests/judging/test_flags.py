"""Which readings are believed, and which flag stands beside each."""

import math

import pytest
from tests.judging.rooms import START, flags, fold, kinds, minutes, one_tank, probe, room, tank

from roewatch.judging.judge import Judge
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Reading

HEALTHY = [26.0, 26.0625, 26.0, 25.9375, 26.0, 26.0625]


@pytest.mark.parametrize("code", [85.0, -127.0, math.nan, math.inf, -math.inf, 4.9, 45.1])
def test_what_no_water_can_be_is_bad(code: float) -> None:
    judge = one_tank()
    got = flags(judge, minutes([*HEALTHY, code, *HEALTHY]))
    assert got[6].flag is Flag.BAD
    assert got[6].raw == code or math.isnan(code)


def test_a_spike_is_told_when_the_next_reading_is_there() -> None:
    got = flags(one_tank(), minutes([26.0, 26.0, 29.0, 26.0, 26.0]))
    assert [f.flag for f in got[1:]] == [Flag.GOOD, Flag.BAD, Flag.GOOD, Flag.GOOD]


def test_a_step_is_no_spike() -> None:
    got = flags(one_tank(), minutes([26.0, 26.0, 24.0, 24.0, 24.0]))
    assert {f.flag for f in got[1:]} == {Flag.GOOD}


def test_a_late_or_repeated_reading_changes_nothing() -> None:
    judge = one_tank()
    flags(judge, minutes(HEALTHY))
    before = judge.positions(), judge.changed_states()
    assert judge.take(minutes(HEALTHY)[2]).flagged.flag is Flag.NOT_EVALUATED
    assert judge.take(minutes(HEALTHY)[-1]).flagged.flag is Flag.NOT_EVALUATED
    assert (judge.positions(), judge.changed_states()) == (before[0], {})


def test_the_first_reading_after_a_hole_is_suspect() -> None:
    got = flags(one_tank(), [*minutes(HEALTHY), *minutes(HEALTHY, first=30)])
    assert [f.flag for f in got[6:8]] == [Flag.SUSPECT, Flag.GOOD]


def test_a_slow_probe_is_not_suspect_for_being_slow() -> None:
    slow = [Reading("A1-t", START + n * 600_000, 26.0 + n % 2 / 16) for n in range(10)]
    got = flags(one_tank(), slow)
    assert [f.flag for f in got[2:]] == [Flag.NOT_EVALUATED] * 8


def test_a_probe_nobody_knows_is_refused_by_name() -> None:
    with pytest.raises(KeyError, match=r"no probe 'X9'.*A1-t"):
        one_tank().take(Reading("X9", START, 26.0))


def test_a_broken_wire_is_a_probe_fault_and_no_cold_tank() -> None:
    findings = fold(one_tank(), minutes([26.0, 26.0625] * 20 + [-127.0] * 60))
    assert kinds(findings) == ["A1 probe-fault"]
    assert "broken wire" in findings[0].message


def test_a_stuck_probe_is_told_by_its_own_longest_run() -> None:
    lively = [26.0 + (n % 7) / 16 for n in range(1500)]
    findings = fold(one_tank(), minutes([*lively, *[26.25] * 180]))
    assert kinds(findings) == ["A1 probe-stuck"]


def test_a_week_of_the_same_ph_is_no_alarm() -> None:
    of_ph = probe("A1-ph", "A1", Quantity.PH)
    judge = Judge(room([tank()], [of_ph]), start_ms=START)
    assert kinds(fold(judge, minutes([6.21] * 7 * 1440, of="A1-ph"))) == []


def test_a_probe_that_gives_nothing_but_errors_is_faulty_and_not_stuck_as_well() -> None:
    wobbling = [26.0 + n % 3 / 16 for n in range(26 * 60)]
    found = fold(one_tank(), minutes([*wobbling, *[85.0] * 240, *wobbling[:30]]))
    assert kinds(found) == ["A1 probe-fault"]
