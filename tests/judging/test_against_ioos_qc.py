"""Our streaming QARTOD flags against ioos-qc's on the same arrays; each difference is explained.

Source of the other side: ioos-qc 3, the reference implementation by IOOS (github.com/ioos/ioos_qc).
"""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from ioos_qc import qartod
from tests.judging.rooms import START, flags, minutes, one_tank, probe, room, tank

from roewatch.judging.judge import Judge
from roewatch.judging.limits import Limits
from roewatch.judging.liveliness import Liveliness
from roewatch.judging.quality import GROSS, SPIKES
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Reading

_T = GROSS[Quantity.TEMPERATURE]
_SPIKE = SPIKES[Quantity.TEMPERATURE]


def theirs_gross(values: list[float]) -> list[int]:
    fail, suspect = (_T.fail_low, _T.fail_high), (_T.suspect_low, _T.suspect_high)
    return [int(flag) for flag in qartod.gross_range_test(values, fail, suspect).data]


def theirs_spike(values: list[float]) -> list[int]:
    found = qartod.spike_test(values, _SPIKE[0], _SPIKE[1], method="differential")
    return [int(flag) for flag in found.data]


def with_noise_free_neighbours(value: float) -> list[float]:
    """The value so long that it is no spike, and nothing else to remark on."""
    return [value, value + 0.0625, value, value + 0.0625]


@settings(max_examples=60, deadline=None)
@given(st.floats(-200, 200))
@example(45.0)  # its neighbour is bad, and it is suspect by itself
def test_gross_range_agrees(value: float) -> None:
    values = with_noise_free_neighbours(value)
    ours = flags(one_tank(), minutes(values))[1:]
    for mine, their in zip(ours, theirs_gross(values)[1:], strict=True):
        # after a reading that was bad the next has no neighbour: not evaluated where they say good
        assert int(mine.flag) == their or (mine.flag is Flag.NOT_EVALUATED and their == 1)


@pytest.mark.parametrize("edge", [5.0, 45.0, 18.0, 34.0])
def test_bounds_are_inclusive_on_both_sides(edge: float) -> None:
    assert theirs_gross([edge])[0] in (1, 3)
    ours = flags(one_tank(), minutes([edge, edge]))[1]
    assert int(ours.flag) == theirs_gross([edge, edge])[1]


def test_no_number_is_bad_here_and_missing_there() -> None:
    # They cannot know whether anything was sent; we were sent "nan", so the probe spoke and lied.
    assert theirs_gross([math.nan]) == [9]
    assert flags(one_tank(), minutes([26.0, math.nan]))[1].flag is Flag.BAD
    assert theirs_gross([math.inf]) == [4]
    assert flags(one_tank(), minutes([26.0, math.inf]))[1].flag is Flag.BAD


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.sampled_from([24.0, 25.0, 25.6, 26.0, 26.25, 27.0, 28.5]), min_size=3, max_size=30)
)
def test_spikes_agree_everywhere_but_at_the_ends(values: list[float]) -> None:
    ours = [int(f.flag) for f in flags(one_tank(), minutes(values))]
    # They leave the first and last at 2; we say good of the newest and revise it with the next.
    assert ours[1:-1] == theirs_spike(values)[1:-1]


def test_a_step_is_no_spike_for_either() -> None:
    step = [27.0, 27.0, 27.0, 25.0, 25.0, 25.0]
    assert set(theirs_spike(step)[1:-1]) == {1}
    assert {int(f.flag) for f in flags(one_tank(), minutes(step))[1:]} == {1}


_QUICK = Limits(flat_learn_ms=1, flat_suspect_ms=30 * MINUTE_MS, flat_fail_ms=60 * MINUTE_MS)


def ours_flat(values: list[float], at_ms: list[int]) -> list[int]:
    judge = Judge(room([tank()], [probe()]), _QUICK, start_ms=START)
    found = [Reading("A1-t", at, v) for at, v in zip(at_ms, values, strict=True)]
    return [int(f.flag) for f in flags(judge, found)]


def theirs_flat(values: list[float], at_ms: list[int]) -> list[int]:
    at = np.array(at_ms, dtype="datetime64[ms]")
    found = qartod.flat_line_test(values, at, 30 * 60, 60 * 60, tolerance=0.001)
    return [int(flag) for flag in found.data]


@pytest.mark.parametrize("run", [10, 29, 30, 31, 45, 59, 60, 61, 90])
def test_flat_lines_agree_on_regular_readings(run: int) -> None:
    values = [26.0, 26.0625] * 40 + [26.25] * (run + 1) + [26.0, 26.0625] * 10
    at_ms = [START + n * MINUTE_MS for n in range(len(values))]
    assert ours_flat(values, at_ms)[2:] == theirs_flat(values, at_ms)[2:]


def test_a_hole_does_not_make_a_line_longer() -> None:
    # They turn spans into counts by the median interval, so twenty equal readings on either side
    # of a day's hole are one run of forty. We count time, and only where somebody spoke.
    values = [26.0, 26.0625] * 40 + [26.25] * 20 + [26.25] * 20
    at_ms = [START + n * MINUTE_MS + (DAY_MS if n >= 100 else 0) for n in range(len(values))]
    assert 3 in theirs_flat(values, at_ms)
    assert set(ours_flat(values, at_ms)[2:]) <= {1, 3}
    assert [n for n, flag in enumerate(ours_flat(values, at_ms)) if flag == 3] == [100], (
        "only the first reading after the hole, for the hole"
    )


def test_good_hides_what_was_not_evaluated_there_and_not_here() -> None:
    # a reading without a neighbour: in range for one test, beyond judging for the other
    theirs = qartod.qartod_compare([np.ma.array(theirs_gross([26.0])), np.ma.array([2])])
    assert [int(flag) for flag in theirs.data] == [1]
    assert flags(one_tank(), minutes([26.0]))[0].flag is Flag.NOT_EVALUATED


def test_of_two_evaluated_flags_the_worse_stands_for_both() -> None:
    # 36 °C is suspect by its range and bad as a spike
    values = [26.0, 26.0, 36.0, 26.0, 26.0]
    ranges, spikes = theirs_gross(values), theirs_spike(values)
    assert (ranges[2], spikes[2]) == (3, 4)
    theirs = qartod.qartod_compare([np.ma.array(ranges), np.ma.array(spikes)])
    assert int(theirs.data[2]) == 4
    assert flags(one_tank(), minutes(values))[2].flag is Flag.BAD


def test_one_sensor_step_breaks_their_rate_of_change_and_none_of_ours() -> None:
    # 0.0625 °C in 60 s is 3.75 °C/h; their test is from sample to sample, ours over a fitted span.
    values = [26.0 + (n % 2) * 0.0625 for n in range(60)]
    at = np.array([START + n * MINUTE_MS for n in range(60)], dtype="datetime64[ms]")
    theirs = qartod.rate_of_change_test(values, at, 1.0 / 3600)
    assert sum(int(flag) == 3 for flag in theirs.data) > 50
    assert {int(f.flag) for f in flags(one_tank(), minutes(values))[1:]} == {1}


def test_a_dull_probe_is_dull_for_both() -> None:
    # Theirs slides with every reading and needs its thresholds given; ours learns the least range
    # of three hours itself and looks when an hour is over. At the end of an hour both have looked
    # at the same three. They call the first hours good from one reading on, unless told how many.
    values = [26.0 + n % 12 / 24 for n in range(12 * 30)] + [
        26.0 + n % 12 / 120 for n in range(120)
    ]
    at_ms = [START + n * 5 * MINUTE_MS for n in range(len(values))]
    lively = Liveliness(Limits())
    ours = [lively.dull(at, value) for at, value in zip(at_ms, values, strict=True)]
    at = np.array(at_ms, dtype="datetime64[ms]")
    usual = 11 / 24
    theirs = qartod.attenuated_signal_test(
        values,
        at,
        usual * Limits().dull_share,
        0.0,
        test_period=3 * 3600,
        min_obs=36,
        check_type="range",
    )
    assert {int(flag) for flag in theirs.data[:35]} == {2}
    hours = range(12 * 26, len(values), 12)  # ours has known a day by then
    assert [ours[n] for n in hours] == [int(theirs.data[n - 1]) == 3 for n in hours]
    assert {int(theirs.data[n - 1]) for n in hours} == {1, 3}


def test_a_flat_line_is_attenuated_there_and_flat_here() -> None:
    values = [26.0 + n % 12 / 24 for n in range(12 * 30)] + [26.0] * 60
    at_ms = [START + n * 5 * MINUTE_MS for n in range(len(values))]
    theirs = qartod.attenuated_signal_test(
        values, np.array(at_ms, dtype="datetime64[ms]"), 0.15, 0.0,
        test_period=3 * 3600, min_obs=36, check_type="range",
    )  # fmt: skip
    assert int(theirs.data[-1]) == 3
    lively = Liveliness(Limits())
    assert not [lively.dull(at, value) for at, value in zip(at_ms, values, strict=True)][-1]
